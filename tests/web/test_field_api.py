"""The API of phones: pairing, the snapshot with its tag, entries and PINs over HTTP."""

from __future__ import annotations

import gzip
import json
import re
from pathlib import Path
from typing import Any, get_args

import pytest
from django.contrib.auth.models import User
from django.test import Client

import run
from pitbird.fleet.kinds.life import What
from pitbird.fleet.times import MINUTE, Ms, text_of
from pitbird.services import clock, phones, pins
from pitbird.services.writing import Actor
from pitbird.store import book
from pitbird.store.models import Login, Pin, Seen, Waiting
from tests.phone import FieldPhone
from tests.web.conftest import KEEPER, NOON, SITE, TESTER, Cast, ago, detector, passed

BOSS = Actor(KEEPER, SITE, "Europe/Lisbon")


def sent(client: Client, path: str, data: Any, **more: Any) -> Any:
    return client.post(f"/api/field/{path}", json.dumps(data), content_type="application/json", **more)


def paired(client: Client, phone: FieldPhone) -> Any:
    """Pair a phone by a fresh link."""
    secret, _until = phones.pair(phone.device, BOSS, label="Digester store", now=clock.now())
    body = {"pairing": secret}
    return sent(client, "pair", {"body": body, "signature": phone.sign(body)})


def written_on(code: str, phone: FieldPhone, by: str = TESTER) -> dict[str, Any]:
    body = {
        **passed(code, ago(5)), "id": clock.new_id(), "zone": "Europe/Lisbon", "by": by, "where": SITE,
    }  # fmt: skip
    return phone.item(body)


@pytest.fixture
def phone(cast: Cast) -> tuple[FieldPhone, Client]:
    made, client = FieldPhone(alg="ES256"), Client()
    assert paired(client, made).status_code == 201
    return made, client


# --- Pairing


def test_a_link_registers_one_phone_once(cast: Cast) -> None:
    phone, client = FieldPhone(alg="ES256"), Client()
    answer = paired(client, phone)
    said = answer.json()
    assert answer.status_code == 201
    assert (said["device"], said["label"], said["site"]) == ("PH-01", "Digester store", "north-works")
    kept = phones.phone(phone.device)
    assert kept is not None
    assert (kept.alg, kept.key, kept.fingerprint) == ("ES256", phone.key, said["fingerprint"])
    cookie = answer.cookies["pitbird-device"]
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Strict")
    [row] = [row for row in book.about(phone.device) if row.kind == "device"]
    assert row.by == KEEPER


def test_a_link_works_once_and_for_a_quarter_of_an_hour(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> None:
    secret, until = phones.pair("device:PH-01", BOSS, now=NOON)
    assert until == NOON + 15 * MINUTE
    body = {"pairing": secret}
    phone, client = FieldPhone(), Client()
    monkeypatch.setattr(clock, "now", lambda: until)
    assert sent(client, "pair", {"body": body, "signature": phone.sign(body)}).status_code == 404
    monkeypatch.setattr(clock, "now", lambda: Ms(until - 1))
    assert sent(client, "pair", {"body": body, "signature": phone.sign(body)}).status_code == 201
    other = FieldPhone()
    assert sent(client, "pair", {"body": body, "signature": other.sign(body)}).status_code == 404


@pytest.mark.parametrize(
    "body", [{"pairing": "x" * 43}, {}, {"pairing": 1}, None], ids=["unknown", "none", "number", "null"]
)
def test_without_the_secret_nothing_is_registered(cast: Cast, body: Any) -> None:
    answer = sent(Client(), "pair", {"body": body, "signature": FieldPhone().sign({"pairing": "x"})})
    assert answer.status_code == 404
    assert phones.phones() == []


def test_a_signature_by_another_key_registers_nothing_and_the_link_still_works(cast: Cast) -> None:
    secret, _until = phones.pair("device:PH-01", BOSS, now=NOON)
    body, phone = {"pairing": secret}, FieldPhone()
    wrong = {**phone.sign(body), "key": FieldPhone().key}
    assert sent(Client(), "pair", {"body": body, "signature": wrong}).status_code == 422
    assert sent(Client(), "pair", {"body": body, "signature": phone.sign(body)}).status_code == 201


# --- The snapshot


def test_what_a_phone_carries(phone: tuple[FieldPhone, Client], cast: Cast) -> None:
    said = phone[1].get("/api/field/snapshot").json()
    assert (said["format"], said["as_of"]) == ("pitbird-field/1", text_of(NOON))
    # The working day of the site ends at 04:00 in Lisbon, which is UTC in March.
    assert said["until"] == "2026-03-03T04:00:00.000Z"
    assert said["site"] == {
        "code": "north-works", "name": "North works", "zone": "Europe/Lisbon", "change_overs": ["04:00"],
    }  # fmt: skip
    assert said["person"] is None
    assert "csrf" not in said
    assert said["device"]["code"] == "PH-01"
    verdicts = {each["code"]: each["verdict"] for each in said["detectors"]}
    assert verdicts == {"D-017": "may-go-out", "D-018": "out-of-service", "D-019": "not-yet"}
    best = next(each for each in said["detectors"] if each["code"] == "D-017")
    assert (best["until"], best["serial"], best["type"]) == ("2026-03-03T04:00:00.000Z", "Q-88213", 0)
    worst = next(each for each in said["detectors"] if each["code"] == "D-018")
    assert worst["reason"]
    assert worst["out"] == ["test-failed"]
    [kind] = said["types"]
    assert [each["name"] for each in kind["plan"]["channels"]] == ["CH4", "O2", "CO", "H2S"]
    assert kind["order"] == ["C-112"]
    [cylinder] = said["cylinders"]
    assert (cylinder["code"], cylinder["in_use"], cylinder["expired"]) == ("C-112", True, False)
    assert said["last_cylinder"] == "C-112"
    assert said["rules"]["checks"] == ["whole_and_clean", "inlets_clear", "battery"]
    tester = next(each for each in said["people"] if each["code"] == "P-07")
    assert (tester["name"], tester["tester"], tester["pin"]) == ("Rui Marrel", True, None)


def test_the_seconds_to_an_alarm_follow_from_the_response(
    phone: tuple[FieldPhone, Client], cast: Cast
) -> None:
    """A first-order sensor: t = t90 log10(R / (R - A)). 100 ppm CO, alarm at 60 ppm, t90 25 s:
    25 log10(2.5) = 9.95 s (worked by hand from the definition of t90 in IEC 60079-29-1, from memory)."""
    described = detector("D-020", "Q-88216")
    for channel in described["channels"]:
        assert "t90_s" not in channel
    described = {**described, "channels": [{**each, "t90_s": "25"} for each in described["channels"]]}
    cast.write(described, minutes_ago=1)
    said = phone[1].get("/api/field/snapshot").json()
    row = next(each for each in said["detectors"] if each["code"] == "D-020")
    gas = said["types"][row["type"]]["gas"]["C-112"]
    assert gas["channels"]["CO"]["expected_s"] == 10.0
    assert gas["channels"]["CO"]["serves"] is True
    lean = [each["lean_s"] for each in gas["channels"].values() if each["serves"]]
    assert gas["needed_s"] >= max(lean)
    untold = said["types"][next(each for each in said["detectors"] if each["code"] == "D-017")["type"]]
    assert untold["gas"]["C-112"]["serves"] == "cannot-tell"
    assert untold["gas"]["C-112"]["channels"]["CO"]["why"]


def test_the_tag_holds_while_only_the_time_changes(
    phone: tuple[FieldPhone, Client], monkeypatch: pytest.MonkeyPatch
) -> None:
    made, client = phone
    first = client.get("/api/field/snapshot")
    monkeypatch.setattr(clock, "now", lambda: Ms(NOON + MINUTE))
    same = client.get("/api/field/snapshot", headers={"If-None-Match": first["ETag"]})
    assert (same.status_code, same["Pitbird-Time"]) == (304, text_of(Ms(NOON + MINUTE)))
    phones.note_known(made.device, TESTER, "pin", NOON)
    assert sent(client, "entries", {"entries": [written_on("D-019", made)]}).status_code == 200
    after = client.get("/api/field/snapshot", headers={"If-None-Match": first["ETag"]})
    assert after.status_code == 200
    assert after["ETag"] != first["ETag"]


def test_it_is_packed_where_the_browser_takes_it(phone: tuple[FieldPhone, Client]) -> None:
    answer = phone[1].get("/api/field/snapshot", headers={"Accept-Encoding": "gzip, br"})
    assert answer["Content-Encoding"] == "gzip"
    assert json.loads(gzip.decompress(answer.content))["format"] == "pitbird-field/1"


@pytest.mark.slow
def test_five_hundred_detectors_stay_below_150_kilobytes(
    phone: tuple[FieldPhone, Client], cast: Cast
) -> None:
    from pitbird.services.writing import write_all

    drafts = [detector(f"E-{n:03}", f"S-{n * 7919 % 100_003:06}") for n in range(500)]
    write_all(drafts, cast.keeper, now=ago(2))
    answer = phone[1].get("/api/field/snapshot", headers={"Accept-Encoding": "gzip"})
    assert len(json.loads(gzip.decompress(answer.content))["detectors"]) == 503
    assert len(answer.content) < 150_000


def test_nobody_and_an_ended_phone_carry_nothing(phone: tuple[FieldPhone, Client]) -> None:
    made, client = phone
    assert Client().get("/api/field/snapshot").status_code == 401
    phones.end(made.device, "lost", BOSS, now=NOON)
    answer = client.get("/api/field/snapshot")
    assert (answer.status_code, answer.json()["error"]) == (403, "device-ended")


def test_that_a_phone_was_given_names_is_written_down_where_that_is_asked_for(
    phone: tuple[FieldPhone, Client], settings: Any
) -> None:
    assert phone[1].get("/api/field/snapshot").status_code == 200
    assert Seen.objects.count() == 0
    settings.SEEN = True
    assert phone[1].get("/api/field/snapshot").status_code == 200
    assert Seen.objects.get().person == "device:PH-01"


def test_a_site_that_is_not_known_is_refused(phone: tuple[FieldPhone, Client]) -> None:
    assert phone[1].get("/api/field/snapshot", {"site": "nowhere"}).status_code == 422


# --- Entries


def test_entries_are_answered_one_by_one_with_the_decision_now(phone: tuple[FieldPhone, Client]) -> None:
    made, client = phone
    phones.note_known(made.device, TESTER, "pin", NOON)
    good, stranger = written_on("D-019", made), written_on("D-017", FieldPhone("device:PH-77"))
    answer = sent(client, "entries", {"entries": [good, good, stranger]})
    said = answer.json()
    assert answer.status_code == 200
    assert [each["status"] for each in said["entries"]] == ["written", "already", "waiting"]
    assert said["entries"][0]["id"] == good["body"]["id"]
    assert said["entries"][2]["why"] == ["not-registered", "not-known-here"]
    assert all(fault["problem"] for fault in said["entries"][2]["faults"])
    assert {each["code"]: (each["verdict"], each["waiting"]) for each in said["detectors"]} == {
        "D-019": ("may-go-out", 0), "D-017": ("may-go-out", 1),
    }  # fmt: skip


def test_an_ended_phone_may_still_send_and_its_entries_wait(phone: tuple[FieldPhone, Client]) -> None:
    made, client = phone
    phones.note_known(made.device, TESTER, "pin", NOON)
    phones.end(made.device, "lost", BOSS, now=NOON)
    said = sent(client, "entries", {"entries": [written_on("D-019", made)]}).json()
    assert (said["entries"][0]["status"], said["entries"][0]["why"]) == ("waiting", ["device-ended"])
    assert Waiting.objects.count() == 1


def test_who_is_signed_in_is_known_on_their_phone(phone: tuple[FieldPhone, Client]) -> None:
    made, client = phone
    user = User.objects.create_user("rui", password="gas and rain 41")
    Login.objects.create(user=user, person=TESTER, site=SITE)
    client.force_login(user)
    said = client.get("/api/field/snapshot").json()
    assert (said["person"], bool(said["csrf"])) == ("P-07", True)
    assert phones.is_known(made.device, TESTER)


def test_nobody_may_send_and_a_session_needs_its_token(cast: Cast) -> None:
    entries = {"entries": [written_on("D-019", FieldPhone())]}
    assert sent(Client(), "entries", entries).status_code == 401
    user = User.objects.create_user("rui", password="gas and rain 41")
    Login.objects.create(user=user, person=TESTER, site=SITE)
    client = Client(enforce_csrf_checks=True)
    client.force_login(user)
    assert sent(client, "entries", entries).status_code == 401
    token = client.get("/api/field/snapshot").json()["csrf"]
    assert sent(client, "entries", entries, headers={"X-CSRFToken": token}).status_code == 200
    assert Waiting.objects.get().sent_by == TESTER


def test_a_form_of_another_site_is_let_in_by_no_cookie(phone: tuple[FieldPhone, Client]) -> None:
    answer = phone[1].post("/api/field/entries", '{"entries": []}', content_type="text/plain")
    assert answer.status_code == 401


@pytest.mark.parametrize(
    "data", ["[]", '{"entries": [' + ",".join(["{}"] * 201) + "]}"], ids=["list", "many"]
)
def test_a_request_that_cannot_be_read_keeps_nothing(phone: tuple[FieldPhone, Client], data: str) -> None:
    answer = phone[1].post("/api/field/entries", data, content_type="application/json")
    assert (answer.status_code, answer.json()["error"]) == (422, "refused")
    assert Waiting.objects.count() == 0


# --- PINs


def test_a_pin_is_checked_over_the_network_and_never_carried(phone: tuple[FieldPhone, Client]) -> None:
    made, client = phone
    assert sent(client, "pin", {"person": "P-07", "pin": "4071"}).status_code == 404
    pins.set_pin(TESTER, "4071", by=TESTER, now=NOON)
    wrong = sent(client, "pin", {"person": "P-07", "pin": "4072"})
    assert (wrong.status_code, wrong.json()["left"]) == (403, 4)
    assert not phones.is_known(made.device, TESTER)
    right = sent(client, "pin", {"person": "P-07", "pin": "4071"})
    assert (right.status_code, right.json()["pin"]) == (200, text_of(NOON))
    assert (
        sent(client, "entries", {"entries": [written_on("D-019", made)]}).json()["entries"][0]["status"]
        == "written"
    )
    hashed = Pin.objects.get().hashed.rpartition("$")[2]
    assert hashed not in client.get("/api/field/snapshot").content.decode()
    for _try in range(4):
        assert sent(client, "pin", {"person": "P-07", "pin": "4072"}).status_code == 403
    assert sent(client, "pin", {"person": "P-07", "pin": "4072"}).status_code == 423
    assert sent(client, "pin", {"person": "P-07", "pin": "4071"}).status_code == 423


def test_a_pin_needs_a_phone(cast: Cast, keeper: Client) -> None:
    pins.set_pin(TESTER, "4071", by=TESTER, now=NOON)
    assert sent(keeper, "pin", {"person": "P-07", "pin": "4071"}).status_code == 403


def test_a_hose_and_thin_gas_are_in_the_seconds_that_a_phone_carries(
    phone: tuple[FieldPhone, Client], cast: Cast
) -> None:
    """0.3 L/min into a pump of 0.4: 75 of 100 ppm CO, alarm at 60: 25 log10(75 / 15) = 17.47 s, and 2 m of
    hose at 3 s a metre (HSE CEMHD1-2020, as summarised): 23.5 s."""
    described = detector("D-020", "Q-88216") | {"draws": "pump", "pump_l_min": "0.4"}
    described["channels"] = [{**each, "t90_s": "25"} for each in described["channels"]]
    cast.write(described, minutes_ago=3)
    flow = {"flow": "fixed", "flow_l_min": "0.3", "hose_m": "2"}
    cast.write({"kind": "regulator", "regulator": "regulator:R-08", **flow}, minutes_ago=2)
    opened = {"at_site": "site:north-works", "regulator": "regulator:R-08"}
    cast.write({"kind": "cylinder-opened", "cylinder": "cylinder:C-112", **opened}, minutes_ago=1)
    said = phone[1].get("/api/field/snapshot").json()
    row = next(each for each in said["detectors"] if each["code"] == "D-020")
    gas = said["types"][row["type"]]["gas"]["C-112"]
    assert gas["channels"]["CO"]["expected_s"] == 23.5
    assert gas["needed_s"] >= 24


# --- For a wearer


def test_what_a_phone_carries_about_wearers(phone: tuple[FieldPhone, Client], cast: Cast) -> None:
    cast.write(
        {"kind": "handed-out", "detector": "detector:D-017", "to": TESTER, "from_store": True,
         "permit": "PTW-1184", "due_back": text_of(Ms(NOON + 60 * MINUTE))},
        minutes_ago=3,
    )  # fmt: skip
    said = phone[1].get("/api/field/snapshot").json()
    assert said["ends"] == [f"2026-03-0{day}T04:00:00.000Z" for day in (3, 4, 5)]
    people = {each["code"]: each for each in said["people"]}
    assert (people["K-1"]["authority"], people["P-07"]["authority"]) == (True, False)
    # The strict rules only warn of an untrained wearer.
    assert people["P-07"]["wearing"] == {"against": None, "until": None, "warns": []}
    [warning] = people["K-1"]["wearing"]["warns"]
    assert warning.startswith("No training of {name} is on record for: ")
    held = next(each for each in said["detectors"] if each["code"] == "D-017")
    assert (held["holder"], held["permit"]) == ("P-07", "PTW-1184")
    assert held["for_others"]["against"] == "not-yet"
    assert held["for_others"]["reason"] == "Rui Marrel holds the detector, not {name}."
    assert "for_others" not in next(each for each in said["detectors"] if each["code"] == "D-019")


def test_the_server_is_asked_about_one_detector_for_one_wearer(
    phone: tuple[FieldPhone, Client], cast: Cast
) -> None:
    client = phone[1]
    said = client.get("/api/field/answer?detector=D-017&wearer=P-07").json()
    assert (said["wearer"], said["server_time"]) == ("P-07", text_of(NOON))
    assert (said["detector"]["verdict"], said["detector"]["until"]) == (
        "may-go-out", "2026-03-03T04:00:00.000Z",
    )  # fmt: skip
    assert said["detector"]["warns"] == []
    untrained = client.get("/api/field/answer?detector=D-017&wearer=K-1").json()["detector"]
    assert untrained["verdict"] == "may-go-out"
    assert "No training of Ilda Fontanova is on record" in untrained["warns"][0]
    for query in ("detector=D-017&wearer=P-99", "detector=D-999&wearer=P-07", "detector=D-017&wearer="):
        assert client.get(f"/api/field/answer?{query}").status_code == 404
    assert client.get("/api/field/answer?detector=D-017").status_code == 422
    assert Client().get("/api/field/answer?detector=D-017&wearer=P-07").status_code == 401
    phones.end("device:PH-01", "lost", BOSS)
    assert client.get("/api/field/answer?detector=D-017&wearer=P-07").status_code == 403


def untested(phone: FieldPhone, by: str, authority: str) -> dict[str, Any]:
    body = {
        "kind": "issued-untested", "id": clock.new_id(), "at": text_of(ago(2)), "zone": "Europe/Lisbon",
        "by": by, "where": SITE, "detector": "detector:D-019", "to": TESTER, "authority": authority,
        "until": text_of(Ms(NOON + 60 * MINUTE)),
    }  # fmt: skip
    return phone.item(body, reason="Pumping out shaft 4; no gas left")


def test_an_issue_without_a_test_needs_somebody_with_the_right_to_write_it_and_an_authority(
    phone: tuple[FieldPhone, Client], cast: Cast
) -> None:
    made, client = phone
    for person in (TESTER, KEEPER):
        phones.note_known(made.device, person, "pin", NOON)
    entries = [untested(made, TESTER, KEEPER), untested(made, KEEPER, TESTER), untested(made, KEEPER, KEEPER)]
    answers = sent(client, "entries", {"entries": entries}).json()
    first, second, third = answers["entries"]
    assert (first["status"], first["why"]) == ("waiting", ["no-right"])
    assert (second["status"], second["why"]) == ("waiting", ["no-right"])
    assert second["faults"] == [
        {"where": "issued-untested.authority", "value": f"'{TESTER}'",
         "problem": "has no such authority; only a keeper or a competent person has"}
    ]  # fmt: skip
    assert third["status"] == "written"
    [now] = answers["detectors"]
    assert now["verdict"] == "not-yet"
    assert now["loud"][0].startswith("Issued untested until")
    assert (now["holder"], now["waiting"]) == ("P-07", 2)


def test_an_alarm_in_use_that_cannot_be_written_takes_the_detector_out(
    phone: tuple[FieldPhone, Client], cast: Cast
) -> None:
    made, client = phone
    body = {
        "kind": "alarm-in-use", "id": clock.new_id(), "at": text_of(ago(2)), "zone": "Europe/Lisbon",
        "by": TESTER, "where": SITE, "detector": "detector:D-017", "channel": "H2S",
    }  # fmt: skip
    answers = sent(client, "entries", {"entries": [made.item(body)]}).json()
    [answer] = answers["entries"]
    assert (answer["status"], answer["why"]) == ("waiting", ["not-known-here"])
    assert answer["taken_out"] is True
    assert answers["detectors"][0]["verdict"] == "out-of-service"


def test_there_is_a_word_for_all_that_handing_out_and_back_may_say() -> None:
    from pitbird.fleet.kinds import KINDS
    from pitbird.services.waiting import speaks_against
    from pitbird.web.views.field_words import WORDS

    scripts = Path(run.ROOT) / "src" / "pitbird" / "web" / "static" / "pitbird" / "field"
    listed = re.search(r"HAPPENED = \[(.*?)\]", (scripts / "back.js").read_text(encoding="utf-8"))
    assert listed is not None
    happened = re.findall(r'"([\w-]+)"', listed[1])
    assert set(happened) <= set(get_args(What))
    assert {f"{name}_{what}" for what in happened for name in ("back", "what")} <= WORDS.keys()
    kinds = ("handed-out", "handed-back", "issued-untested")
    assert {f"kind_{kind}" for kind in (*kinds, "happened", "alarm-in-use")} <= WORDS.keys()
    assert {f"{kind}_done" for kind in kinds} <= WORDS.keys()
    assert {"wearer_unknown", "others_unknown"} <= WORDS.keys()
    for kind in ("happened", "alarm-in-use"):
        assert speaks_against(KINDS[kind].EXAMPLE)
