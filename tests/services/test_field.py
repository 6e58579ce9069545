"""Entries from phones: written as signed, kept waiting with every fault, never twice and never dropped."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import DAY, MINUTE, Ms, text_of
from pitbird.intake.entries import read_body
from pitbird.intake.faults import EntryRefused
from pitbird.record.leaf import read_leaf
from pitbird.rules.decision import Verdict
from pitbird.services import clock, field, phones, pins, waiting
from pitbird.services.appending import append
from pitbird.services.field import receive
from pitbird.services.gate import gate_one
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor
from pitbird.store import blobs, book
from pitbird.store.models import Waiting
from tests.phone import FieldPhone
from tests.web.conftest import KEEPER, NOON, SITE, TESTER, Cast, ago, cast, fill, passed  # noqa: F401

BOSS = Actor(KEEPER, SITE, "Europe/Lisbon")


def made(code: str, at: Ms, **changes: Any) -> dict[str, Any]:
    """A bump test as a phone writes it."""
    return {
        **passed(code, at), "id": clock.new_id(), "zone": "Europe/Lisbon", "by": TESTER, "where": SITE,
        **changes,
    }  # fmt: skip


def failed(code: str, at: Ms, **changes: Any) -> dict[str, Any]:
    """The same where one channel did not come."""
    return {**made(code, at), **passed(code, at, outcome="failed", missed="H2S"), **changes}


@pytest.fixture
def phone(cast: Cast) -> FieldPhone:  # noqa: F811
    """A registered phone on which the tester's PIN was checked."""
    new = FieldPhone()
    phones.register(new.device, new.alg, new.key, BOSS, label="Digester store", now=ago(60))
    phones.note_known(new.device, TESTER, "pin", ago(50))
    return new


def sent(*contents: str, now: Ms = NOON) -> list[field.Answer]:
    return receive(contents, person=None, sender=phones.phone("device:PH-01"), now=now)


def verdict(code: str) -> Verdict:
    return gate_one(f"detector:{code}", now=NOON).decision.verdict


def why(answer: field.Answer) -> list[str]:
    assert answer.waiting is not None
    return answer.waiting.why.split()


# --- Written


@pytest.mark.parametrize("alg", ["ES256", "Ed25519"])
def test_a_test_from_a_registered_phone_is_written_as_it_was_signed(cast: Cast, alg: str) -> None:  # noqa: F811
    phone = FieldPhone(alg=alg)
    phones.register(phone.device, alg, phone.key, BOSS, now=ago(60))
    phones.note_known(phone.device, TESTER, "pin", ago(50))
    assert verdict("D-019") is Verdict.NOT_YET
    item = phone.item(made("D-019", ago(5)), note="clip loose")
    [answer] = sent(json.dumps(item))
    assert (answer.status, answer.counts) == ("written", True)
    row = book.by_id(item["body"]["id"])
    assert row is not None
    leaf = read_leaf(row.leaf.encode())
    assert (leaf.body, leaf.signature) == (item["body"], item["signature"])
    assert blobs.get([item["body"]["note"]])[item["body"]["note"]].text == "clip loose"
    assert verdict("D-019") is Verdict.MAY_GO_OUT


def test_sent_twice_it_stands_once(phone: FieldPhone) -> None:
    text = phone.text(made("D-019", ago(5)))
    size = book.head().size
    assert [answer.status for answer in sent(text, text)] == ["written", "already"]
    assert [answer.status for answer in sent(text)] == ["already"]
    assert book.head().size == size + 1


def test_two_phones_on_one_detector_and_the_fail_wins(phone: FieldPhone) -> None:
    other = FieldPhone("device:PH-02", "ES256")
    phones.register(other.device, other.alg, other.key, BOSS, now=ago(60))
    phones.note_known(other.device, TESTER, "account", ago(50))
    late_pass, early_fail = made("D-019", ago(5)), failed("D-019", ago(9))
    assert [each.status for each in sent(phone.text(late_pass), other.text(early_fail))] == ["written"] * 2
    assert verdict("D-019") is Verdict.OUT_OF_SERVICE


def test_entries_are_written_in_the_order_in_which_they_came(phone: FieldPhone) -> None:
    bodies = [made("D-019", ago(9 - n)) for n in range(4)]
    answers = sent(*(phone.text(body) for body in bodies))
    indices = [answer.index for answer in answers]
    assert indices == sorted(indices, key=lambda index: index or 0)
    assert [answer.entry_id for answer in answers] == [body["id"] for body in bodies]


def test_what_breaks_on_our_side_stops_the_rest_and_nothing_is_lost(
    phone: FieldPhone, monkeypatch: pytest.MonkeyPatch
) -> None:
    texts = [phone.text(made("D-019", ago(9 - n))) for n in range(3)]
    calls: list[int] = []

    def breaks(*given: Any, **named: Any) -> Any:
        calls.append(1)
        if len(calls) == 2:
            raise OSError("disk full")
        return append(*given, **named)

    monkeypatch.setattr("pitbird.services.field.append", breaks)
    assert [answer.status for answer in sent(*texts)] == ["written", "stopped", "not-tried"]
    assert [answer.status for answer in sent(*texts)] == ["already", "written", "written"]


# --- Clocks


def test_a_clock_a_day_ahead_a_pass_is_kept_and_does_not_count(phone: FieldPhone) -> None:
    [answer] = sent(phone.text(made("D-019", Ms(NOON + DAY))))
    assert (answer.status, answer.counts) == ("written", False)
    assert verdict("D-019") is Verdict.NOT_YET
    state = Now().state("detector:D-019")
    assert isinstance(state, DetectorState)
    assert state.doubtful == (answer.entry_id,)


def test_a_clock_a_day_ahead_a_fail_counts_on_arrival(phone: FieldPhone) -> None:
    [answer] = sent(phone.text(failed("D-017", Ms(NOON + DAY))))
    assert (answer.status, answer.counts) == ("written", True)
    assert verdict("D-017") is Verdict.OUT_OF_SERVICE


def test_a_clock_known_to_be_ahead_is_not_believed_once_the_time_has_passed(
    phone: FieldPhone,
) -> None:
    ahead = {"device": phone.device, "known_by": "pin", "contact": text_of(ago(600)), "ahead_s": "21600"}
    [answer] = sent(phone.text(made("D-019", ago(5), phone=ahead)))
    assert (answer.status, answer.counts) == ("written", False)
    assert verdict("D-019") is Verdict.NOT_YET
    right = {**ahead, "ahead_s": "1.5"}
    [answer] = sent(phone.text(made("D-019", ago(4), phone=right)))
    assert verdict("D-019") is Verdict.MAY_GO_OUT


def test_a_clock_a_day_behind_gives_no_yes_for_today(phone: FieldPhone) -> None:
    [answer] = sent(phone.text(made("D-019", Ms(NOON - DAY))))
    assert answer.status == "written"
    assert verdict("D-019") is Verdict.NOT_YET


# --- Waiting


def test_an_unregistered_phone_waits_and_its_pass_counts_for_nothing(phone: FieldPhone) -> None:
    stranger = FieldPhone("device:PH-77")
    text = stranger.text(made("D-019", ago(5)))
    [answer] = sent(text)
    assert (answer.status, why(answer)) == ("waiting", ["not-registered", "not-known-here"])
    assert Waiting.objects.get().content == text
    assert book.by_id(answer.entry_id) is None
    assert verdict("D-019") is Verdict.NOT_YET
    assert [each.status for each in sent(text)] == ["waiting"]
    assert Waiting.objects.count() == 1


def test_a_fail_that_waits_takes_the_detector_out_of_service_at_once(phone: FieldPhone) -> None:
    assert verdict("D-017") is Verdict.MAY_GO_OUT
    [answer] = sent(FieldPhone("device:PH-77").text(failed("D-017", ago(5))))
    assert answer.status == "waiting"
    assert verdict("D-017") is Verdict.OUT_OF_SERVICE
    row = book.by_id(answer.waiting.withdrawn_by if answer.waiting else "")
    assert row is not None
    body = read_leaf(row.leaf.encode()).body
    assert (body["kind"], body["by"]) == ("out-of-service", KEEPER)
    assert body["entered"] == {"by": KEEPER, "waiting": answer.waiting.digest if answer.waiting else ""}


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda item: item["body"].update(outcome="passed"), "signature"),
        (lambda item: item["signature"].update(sig="A" * 86), "signature"),
        (lambda item: item.pop("signature"), "signature"),
        (lambda item: item["body"].update(temperature_c=12.5), "not-readable"),
        (lambda item: item.update(more=1), "not-readable"),
        (lambda item: item["body"].update(colour="red"), "refused"),
        (lambda item: item["body"].pop("about"), "refused"),
    ],
    ids=["body", "signature", "unsigned", "float", "more", "unknown field", "no about"],
)
def test_a_tampered_fail_waits_and_still_takes_the_detector_out(
    phone: FieldPhone, spoil: Any, reason: str
) -> None:
    item = phone.item(failed("D-017", ago(5)))
    spoil(item)
    [answer] = sent(json.dumps(item))
    assert answer.status == "waiting"
    assert reason in why(answer)
    assert verdict("D-017") is Verdict.OUT_OF_SERVICE


def test_another_key_than_the_registered_one_waits(phone: FieldPhone) -> None:
    [answer] = sent(FieldPhone(phone.device).text(made("D-019", ago(5))))
    assert why(answer) == ["not-this-device"]
    assert verdict("D-019") is Verdict.NOT_YET


def test_a_phone_that_was_ended_waits_even_for_what_it_says_happened_before(phone: FieldPhone) -> None:
    phones.end(phone.device, "lost", BOSS, now=ago(2))
    [answer] = sent(phone.text(made("D-019", ago(5))))
    assert why(answer) == ["device-ended"]


def test_a_person_whom_the_phone_never_knew_waits(phone: FieldPhone) -> None:
    [answer] = sent(phone.text(made("D-019", ago(5), by=KEEPER)))
    assert why(answer) == ["not-known-here"]


def test_a_person_who_has_left_waits(phone: FieldPhone, cast: Cast) -> None:  # noqa: F811
    cast.write(
        {"kind": "person", "person": TESTER, "name": "Rui Marrel", "left": "2026-03-01"}, minutes_ago=20
    )
    [answer] = sent(phone.text(made("D-019", ago(5))))
    assert why(answer) == ["left"]


def test_lapsed_training_is_written_and_the_rules_say_that_it_does_not_count(
    phone: FieldPhone,
    cast: Cast,  # noqa: F811
) -> None:
    lapsed = {"kind": "training", "person": TESTER, "topic": "bump-test", "valid_until": "2026-03-01"}
    cast.write(lapsed, minutes_ago=20)
    [answer] = sent(phone.text(made("D-019", ago(5))))
    assert answer.status == "written"
    assert verdict("D-019") is not Verdict.MAY_GO_OUT


def test_an_unknown_detector_and_cylinder_wait_with_every_fault(phone: FieldPhone) -> None:
    body = made("D-404", ago(5))
    body["applications"][0]["cylinder"] = "cylinder:C-404"
    [answer] = sent(phone.text(body))
    assert why(answer) == ["refused"]
    assert answer.waiting is not None
    assert [fault.where for fault in waiting.faults_of(answer.waiting)] == [
        "bump-test.detector", "bump-test.applications[0].cylinder",
    ]  # fmt: skip


def test_a_kind_that_is_the_keepers_waits(phone: FieldPhone) -> None:
    body = {
        "kind": "returned-to-service", "id": clock.new_id(), "at": text_of(ago(5)), "zone": "Europe/Lisbon",
        "by": TESTER, "where": SITE, "detector": "detector:D-018", "cause": "handling",
        "answers": ["0195a000-0000-7000-8000-000000000016"],
    }  # fmt: skip
    [answer] = sent(phone.text(body))
    assert "no-right" in why(answer)


def test_the_same_id_with_other_contents_waits(phone: FieldPhone) -> None:
    body = made("D-019", ago(5))
    other = {**copy.deepcopy(body), "temperature_c": "13"}
    answers = sent(phone.text(body), phone.text(other))
    assert [answer.status for answer in answers] == ["written", "waiting"]
    assert why(answers[1]) == ["id-taken"]


def test_a_text_that_does_not_open_its_commitment_waits(phone: FieldPhone) -> None:
    item = phone.item(made("D-019", ago(5)), note="clip loose")
    item["texts"]["note"]["text"] = "clip fine"
    [answer] = sent(json.dumps(item))
    assert why(answer) == ["refused"]


def test_defaults_that_were_left_out_are_named(phone: FieldPhone) -> None:
    body = phone.item(made("D-019", ago(5)))["body"]
    del body["footing"]
    [answer] = sent(json.dumps({"body": body, "signature": phone.sign(body)}))
    assert answer.waiting is not None
    [fault] = waiting.faults_of(answer.waiting)
    assert (fault.where, '"shown"' in fault.problem) == ("bump-test.footing", True)


@pytest.mark.parametrize(
    "changes",
    [
        {"checks": {"whole_and_clean": "no"}},
        {"clean_air": [{"channel": "H2S", "right": "no"}]},
        {"clean_air": [{"channel": "CO", "reading": "55", "right": "yes"}]},
        {"cleared": {"readings": "no"}},
        {"outcome": "spoiled", "spoiled_because": "hood-slipped", "signals": {"sound": "no"}},
        {"outcome": "spoiled", "spoiled_because": "other", "missed": "H2S"},
    ],
)
def test_a_test_whose_facts_say_no_takes_the_detector_out_while_it_waits(
    phone: FieldPhone, changes: dict[str, Any]
) -> None:
    """As the book would judge it: whatever fails there speaks against the detector here."""
    stranger = FieldPhone("device:PH-77")
    body = made("D-019", ago(5), **changes)
    if missed := body.pop("missed", None):
        body |= {"applications": passed("D-019", ago(5), missed=missed)["applications"]}
    [answer] = sent(stranger.text(body))
    assert answer.status == "waiting"
    assert verdict("D-019") is Verdict.OUT_OF_SERVICE


def test_what_cannot_be_read_hides_no_failure() -> None:
    body = {"kind": "bump-test", "detector": "detector:D-019", "outcome": 7, "signals": [["sound", "no"]]}
    gas = ["unreadable", {"channels": 7}, {"channels": [{"channel": ["CO"], "reached": "yes"}, None]}]
    assert not waiting.speaks_against({**body, "applications": gas})
    for nameless in ({"reached": "no"}, {"channel": 7, "reached": "no"}):
        assert waiting.speaks_against({**body, "applications": [*gas, {"channels": [nameless]}]})
    assert waiting.speaks_against({**body, "applications": gas, "checks": {"inlets_clear": "no"}})
    told = [*gas, {"gas_on": 5, "channels": [{"channel": "CO", "reached": "no"}]}]
    assert waiting.speaks_against({**body, "applications": told})


def test_an_attempt_that_the_gas_did_not_reach_takes_nothing_out_while_it_waits(phone: FieldPhone) -> None:
    stranger = FieldPhone("device:PH-77")
    gas = passed("D-019", ago(5), missed="H2S")["applications"]
    body = made("D-019", ago(5), outcome="spoiled", spoiled_because="hood-slipped", applications=gas)
    [answer] = sent(stranger.text(body))
    assert answer.status == "waiting"
    assert verdict("D-019") is not Verdict.OUT_OF_SERVICE


# --- What the keeper does


def test_tried_again_once_its_cause_is_gone_it_is_written_as_it_was_signed(phone: FieldPhone) -> None:
    stranger = FieldPhone("device:PH-77")
    item = stranger.item(made("D-019", ago(5)))
    [answer] = sent(json.dumps(item))
    assert answer.waiting is not None
    number = answer.waiting.number
    assert field.try_again(number, BOSS, now=NOON).status == "waiting"
    phones.register(stranger.device, stranger.alg, stranger.key, BOSS, now=NOON)
    phones.note_known(stranger.device, TESTER, "pin", NOON)
    assert field.try_again(number, BOSS, now=NOON).status == "written"
    row = book.by_id(item["body"]["id"])
    assert row is not None
    assert read_leaf(row.leaf.encode()).signature == item["signature"]
    assert waiting.waiting() == []
    with pytest.raises(waiting.Settled):
        field.try_again(number, BOSS, now=NOON)


def test_what_came_with_a_clock_ahead_is_not_right_because_it_waited_for_the_hours_to_pass(
    phone: FieldPhone,
) -> None:
    """A pass dated three hours after it came is not written as it came once those hours have gone by."""
    stranger = FieldPhone("device:PH-77")
    [answer] = sent(stranger.text(made("D-019", ago(5))), now=ago(180))
    assert answer.waiting is not None
    phones.register(stranger.device, stranger.alg, stranger.key, BOSS, now=ago(170))
    phones.note_known(stranger.device, TESTER, "pin", ago(170))
    again = field.try_again(answer.waiting.number, BOSS, now=NOON)
    assert again.waiting is not None
    assert (again.status, why(again)) == ("waiting", ["refused"])
    [fault] = waiting.faults_of(again.waiting)
    assert (fault.where, "when it came" in fault.problem) == ("bump-test.at", True)
    assert verdict("D-019") is Verdict.NOT_YET


@pytest.mark.parametrize(
    ("body", "why"),
    [
        ({"kind": "repaired"}, ["refused"]),
        ({"kind": "happened", "what": "sensor-changed"}, ["refused"]),
        ({"kind": "happened", "what": "drop"}, []),
        ({"kind": "bump-test", "outcome": "failed"}, []),
    ],
)
def test_a_mending_dated_after_it_came_mends_nothing_either(body: dict[str, Any], why: list[str]) -> None:
    reading = field.Reading("")
    reading.body = {**body, "at": text_of(NOON)}
    reading.faults_of_clock(Ms(NOON - 3 * MINUTE))
    assert reading.why == why


def test_a_fail_that_came_with_a_clock_ahead_is_written_as_it_came(phone: FieldPhone) -> None:
    stranger = FieldPhone("device:PH-77")
    [answer] = sent(stranger.text(failed("D-019", ago(5))), now=ago(180))
    assert answer.waiting is not None
    phones.register(stranger.device, stranger.alg, stranger.key, BOSS, now=ago(170))
    phones.note_known(stranger.device, TESTER, "pin", ago(170))
    assert field.try_again(answer.waiting.number, BOSS, now=NOON).status == "written"
    assert verdict("D-019") is Verdict.OUT_OF_SERVICE


def test_written_with_a_correction_it_names_what_waited_and_who_did_it(phone: FieldPhone) -> None:
    text = phone.text(made("D-404", ago(5)), note="clip loose")
    [answer] = sent(text)
    assert answer.waiting is not None
    draft = waiting.draft_of(answer.waiting)
    assert draft["note"] == "clip loose"
    appended = waiting.write_corrected(
        answer.waiting.number, {**draft, "detector": "detector:D-019"}, BOSS, now=NOON
    )
    row = book.by_id(appended.entry_id)
    assert row is not None
    body = read_leaf(row.leaf.encode()).body
    assert (body["by"], body["detector"]) == (TESTER, "detector:D-019")
    assert body["entered"] == {"by": KEEPER, "waiting": waiting.digest_of(text)}
    assert "phone" not in body
    assert verdict("D-019") is Verdict.MAY_GO_OUT
    [again] = sent(text)
    assert (again.status, again.index) == ("settled", appended.index)
    # The text stands in the book now, where it can be erased; signed body and signature stay as they came.
    kept = Waiting.objects.get()
    assert "clip loose" not in kept.content
    came, stays = json.loads(text), json.loads(kept.content)
    assert stays == {"body": came["body"], "signature": came["signature"]}


def test_set_aside_needs_a_reason_and_stays_word_for_word(phone: FieldPhone) -> None:
    text = phone.text(made("D-404", ago(5)))
    [answer] = sent(text)
    assert answer.waiting is not None
    number = answer.waiting.number
    with pytest.raises(EntryRefused, match="say why"):
        waiting.set_aside(number, " ", BOSS, now=NOON)
    waiting.set_aside(number, "Sent from a drill", BOSS, now=NOON)
    kept = Waiting.objects.get(number=number)
    assert (kept.state, kept.reason, kept.content) == ("set-aside", "Sent from a drill", text)
    assert [each.status for each in sent(text)] == ["settled"]


def test_a_pass_is_not_corrected_to_a_time_after_it_came(phone: FieldPhone) -> None:
    [answer] = sent(phone.text(made("D-404", ago(90))), now=ago(60))
    assert answer.waiting is not None
    draft = {**waiting.draft_of(answer.waiting), "detector": "detector:D-019", "at": text_of(ago(5))}
    for application in draft["applications"]:
        application |= {"gas_on": text_of(ago(6)), "gas_off": text_of(Ms(ago(6) + MINUTE // 2))}
    with pytest.raises(ValueError, match="cannot have happened later"):
        waiting.write_corrected(answer.waiting.number, draft, BOSS, now=NOON)


def test_a_pass_by_a_clock_that_was_ahead_is_written_only_with_another_time_by_another(
    phone: FieldPhone,
) -> None:
    ahead = {"device": phone.device, "known_by": "pin", "contact": text_of(ago(600)), "ahead_s": "21600"}
    [answer] = sent(phone.text(made("D-404", ago(5), phone=ahead)))
    assert answer.waiting is not None
    number = answer.waiting.number
    draft = {**waiting.draft_of(answer.waiting), "detector": "detector:D-019"}
    with pytest.raises(EntryRefused, match="21600 s ahead"):
        waiting.write_corrected(number, draft, BOSS, now=NOON)
    right = {**draft, "at": text_of(ago(365))}
    with pytest.raises(EntryRefused, match="another keeper"):
        waiting.write_corrected(number, right, Actor(TESTER, SITE, "Europe/Lisbon"), now=NOON)
    waiting.write_corrected(number, right, BOSS, now=NOON)
    assert waiting.waiting() == []


def test_the_example_of_the_page_is_whole_as_it_is_signed() -> None:
    page = (Path(__file__).parents[2] / "docs" / "field.md").read_text(encoding="utf-8")
    text = page.partition("A bump test, whole")[2].partition("```json\n")[2].partition("```")[0]
    body, faults = read_body(json.loads(text))
    assert faults == ()
    assert body is not None
    assert body.as_body() == json.loads(text)
    assert body.phone is not None


# --- Requests and PINs


@pytest.mark.parametrize("data", [b"", b"[]", b'{"entries": 1}', b'{"entries": [1], "more": 1}', b"\xff"])
def test_a_request_that_cannot_be_read_is_refused_whole(data: bytes) -> None:
    with pytest.raises(field.NotReadable):
        field.split(data)


def test_an_entry_is_kept_as_the_bytes_that_came() -> None:
    assert field.split(b'{"entries": [{"a":  1.50}, "x"]}') == ['{"a":  1.50}', '"x"']


def test_five_wrong_pins_lock_one_phone_and_setting_it_anew_unlocks(phone: FieldPhone) -> None:
    here, other = phones.phone(phone.device), FieldPhone("device:PH-02")
    phones.register(other.device, other.alg, other.key, BOSS, now=ago(60))
    there = phones.phone(other.device)
    assert here is not None
    assert there is not None
    pins.set_pin(TESTER, "4071", by=TESTER, now=ago(30))
    for left in (4, 3, 2, 1):
        with pytest.raises(pins.WrongPin) as wrong:
            pins.check_pin(TESTER, "4072", here, now=NOON)
        assert wrong.value.left == left
    with pytest.raises(pins.Locked):
        pins.check_pin(TESTER, "4072", here, now=NOON)
    with pytest.raises(pins.Locked):
        pins.check_pin(TESTER, "4071", here, now=NOON)
    assert pins.check_pin(TESTER, "4071", there, now=NOON) == ago(30)
    assert phones.is_known(other.device, TESTER)
    pins.set_pin(TESTER, "7713", by=TESTER, now=NOON)
    assert pins.check_pin(TESTER, "7713", here, now=NOON) == NOON


@pytest.mark.parametrize("pin", ["", "123", "1234", "9876", "0000", "7890", "12a4", "123456789", "٤٠٧١"])
def test_what_is_no_pin_or_is_guessed_first_is_refused(cast: Cast, pin: str) -> None:  # noqa: F811
    with pytest.raises(ValueError, match="pin"):
        pins.set_pin(TESTER, pin, by=TESTER)
