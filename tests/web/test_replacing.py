"""An entry is replaced by its own form, filled with what counts; both stay, and what differs is said."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import text_of
from pitbird.record.leaf import read_leaf
from pitbird.services.knowing import Now
from pitbird.store import book
from pitbird.web.forms.questions import QUESTIONS
from tests.web.conftest import SITE, Cast, ago, passed

D17, D18, C112, P07 = "detector:D-017", "detector:D-018", "cylinder:C-112", "person:P-07"
UNTIL = "2026-03-02T18:00:00.000Z"
#: One of each kind that is written by hand, with as much in it as its form asks for.
ENTRIES: dict[str, dict[str, Any]] = {
    "handed-out": {"detector": D17, "to": P07, "from_store": True, "permit": "PTW-9", "due_back": UNTIL},
    "handed-back": {"detector": D17, "back_from": P07},
    "happened": {"detector": D17, "what": "fault", "channels": ["CO"]},
    "out-of-service": {"detector": D17, "because": "damaged"},
    "repaired": {"detector": D17, "cause": "sensor-worn", "replaced": ["CO"]},
    "calibration": {
        "detector": D17, "cylinders": [C112], "zeroed": "yes", "tolerance_pct": "10", "certificate": "K-1",
        "channels": [
            {"channel": "H2S", "applied": "20", "as_found": "18", "as_left": "20", "result": "within"},
            {"channel": "CH4", "applied": "50", "adjusted": "no", "result": "within"},
        ],
        "result": "passed",
    },
    "issued-untested": {"detector": D17, "to": P07, "authority": "person:K-1", "until": UNTIL,
                        "reason": "Pump room\nonly once"},
    "fresh-air-set": {"detector": D17, "air": "outdoors"},
    "alarm-in-use": {"detector": D17, "channel": "H2S", "alarm": "low", "peak": "7.5"},
    "cylinder-received": {"cylinder": C112, "at_site": SITE},
    "cylinder-opened": {"cylinder": C112, "at_site": SITE, "gauge_bar": "41"},
    "gauge-read": {"cylinder": C112, "gauge_bar": "41"},
    "cylinder-emptied": {"cylinder": C112},
    "cylinder-quarantined": {"cylinder": C112, "because": "leak", "since": "2026-03-02T11:00:30.000Z"},
    "training": {"person": P07, "topic": "wearing", "valid_until": "2027-01-01"},
    "person": {"person": P07, "name": "Rui Marrel", "roles": ["tester"], "home": SITE, "left": "2026-09-01"},
    "site": {"site": SITE, "name": "North works", "site_zone": "Europe/Lisbon",
             "change_overs": ["06:00", "18:00"]},
    "regulator": {"regulator": "regulator:R-1", "flow": "fixed", "flow_l_min": "0.5", "serial": "R 7"},
    "detector": {
        "detector": D17, "make": "Heron Works", "model": "Quartet P", "serial": "Q-1", "firmware": "2.0",
        "draws": "pump", "signals": ["sound", "light"], "home": SITE, "activated": "2025-01-01",
        "life_ends": "2027-01-01", "calibrated_by_maker_only": True,
        "channels": [
            {
                "name": "CH4", "gas": "methane", "principle": "infrared", "unit": "pct_lfl",
                "lfl_basis": "iec-60079-20-1", "range_high": "100", "clean_air": "0",
                "clean_air_tolerance": "2", "t90_s": "25", "t90_fast_s": "12", "sensor_serial": "S 9",
                "other_gases": [{"gas": "propane", "amount": "50", "unit": "pct_lfl", "reads": "39"}],
                "sensor_fitted": "2025-01-01", "sensor_ends": "2026-12-01",
                "alarms": [
                    {"name": "low", "at": "10"}, {"name": "high", "at": "20", "shown_by": "self-check"}
                ],
            }
        ],
    },
    "cylinder": {
        "cylinder": C112, "lot": "L-1", "certificate": "Z 5", "traceable_to": "a national standard",
        "balance": "air", "made": "2025-01-01", "expires": "2027-01-01", "water_capacity_l": "1",
        "free_gas_l": "58", "full_pressure_bar": "60", "minimum_pressure_bar": "2",
        "minimum_temperature_c": "0", "home": SITE,
        "components": [
            {"gas": "methane", "amount": "2.2", "unit": "vol_pct", "expanded_uncertainty_pct": "2"}
        ],
    },
    "note": {"subject": D17, "text": "Clip is loose."},
}  # fmt: skip
NOTED = {kind: {**fields, "note": "Seen by two."} for kind, fields in ENTRIES.items() if kind != "note"}


def index_of(entry_id: str) -> int:
    row = book.by_id(entry_id)
    assert row is not None
    return row.index


def filled(client: Client, address: str) -> dict[str, Any]:
    """The form on a page as a browser would send it untouched."""
    page = client.get(address)
    assert page.status_code == 200
    form = page.context["form"]
    values = {bound.html_name: bound.value() for bound in form}
    return {
        name: "on" if value is True else value
        for name, value in values.items()
        if value not in (None, "", False, [])
    }


def newest() -> dict[str, Any]:
    return dict(read_leaf(book.newest(1)[0].leaf.encode()).body)


@pytest.mark.parametrize("kind", sorted(ENTRIES))
def test_the_form_of_every_kind_holds_all_that_stands(cast: Cast, keeper: Client, kind: str) -> None:
    """Sent untouched it is found to say the same, to the millisecond and the last field."""
    cast.write({"kind": "regulator", "regulator": "regulator:R-1", "flow": "demand"}, minutes_ago=9)
    entry = cast.write({"kind": kind, **NOTED.get(kind, ENTRIES[kind])}, minutes_ago=7.25)
    address = f"/book/{index_of(entry)}/replace"
    size = book.head().size
    answer = keeper.post(address, {**filled(keeper, address), "why": "nothing"})
    assert answer.status_code == 422
    assert answer.context["form"].errors == {
        "__all__": ["Nothing differs from what stands. Change what is wrong first."]
    }
    assert book.head().size == size


def test_no_kind_with_a_form_of_its_own_is_left_out() -> None:
    without = {"correction", "rules-adopted", "returned-to-service", "cylinder-released"}
    assert set(QUESTIONS) - without == set(ENTRIES), "the last two are looked at below"


def test_a_hand_out_to_somebody_else_is_put_right_and_both_are_shown(cast: Cast, keeper: Client) -> None:
    entry = cast.write({"kind": "handed-out", **NOTED["handed-out"]}, minutes_ago=7.25)
    index = index_of(entry)
    values = filled(keeper, f"/book/{index}/replace")
    answer = keeper.post(f"/book/{index}/replace", {**values, "to": "person:K-1", "why": "Wrong line."})
    assert answer.status_code == 302
    said = newest()
    assert said["replacement"]["at"] == text_of(ago(7.25))
    assert said["replacement"]["note"].startswith("sha256:")
    state = Now().state(D17)
    assert isinstance(state, DetectorState)
    assert state.custody is not None
    assert state.custody.holder == "person:K-1"
    for address in (f"/book/{index}", f"/book/{index + 1}", "/book", "/detectors/D-017"):
        page = re.sub(r"\s+", " ", keeper.get(address).content.decode())
        assert "handed out to Rui Marrel from the store." in page, address
        assert "<ins>Ilda Fontanova</ins> instead of <del>Rui Marrel</del>" in page, address
        assert "Wrong line." in page, address


def test_an_entry_is_moved_to_another_detector(cast: Cast, keeper: Client) -> None:
    entry = cast.write({"kind": "happened", "detector": D17, "what": "water"}, minutes_ago=3)
    address = f"/book/{index_of(entry)}/replace?about=d-018"
    answer = keeper.post(address, {**filled(keeper, address), "why": "Label misread."}, follow=True)
    page = answer.content.decode()
    assert "<ins>D-018</ins> instead of <del>D-017</del>" in page
    assert newest()["about"] == [D17, D18]
    old, new = Now().state(D17), Now().state(D18)
    assert isinstance(old, DetectorState)
    assert isinstance(new, DetectorState)
    assert [event.what for event in old.events] == ["calibration"]
    assert [event.what for event in new.events] == ["water", "calibration"]
    assert keeper.get(f"/book/{index_of(entry)}/replace?about=D-404").status_code == 404


def test_of_several_corrections_the_last_counts_and_the_others_are_superseded(
    cast: Cast, keeper: Client
) -> None:
    entry = cast.write({"kind": "happened", "detector": D17, "what": "water"}, minutes_ago=3)
    index = index_of(entry)
    for what in ("drop", "over-range"):
        values = filled(keeper, f"/book/{index}/replace")
        keeper.post(f"/book/{index}/replace", {**values, "what": what, "why": f"It was {what}."})
    page = re.sub(r"\s+", " ", keeper.get(f"/book/{index}").content.decode())
    assert page.index("It was drop.") < page.index("superseded by a later correction")
    assert page.index("It was over-range.") < page.index("this one counts")
    first = re.sub(r"\s+", " ", keeper.get(f"/book/{index + 1}").content.decode())
    assert f"entry {index + 2} corrects the same entry later, and counts in its place." in first
    # The second began from what counted by then.
    assert filled(keeper, f"/book/{index}/replace")["what"] == "over-range"


def test_what_was_answered_can_be_ticked_though_it_is_open_no_more(cast: Cast, keeper: Client) -> None:
    out = cast.write({"kind": "out-of-service", "detector": D17, "because": "damaged"}, minutes_ago=9)
    back = cast.write(
        {"kind": "returned-to-service", "detector": D17, "answers": [out], "cause": "damaged"}, minutes_ago=8
    )
    leak = cast.write({"kind": "cylinder-quarantined", "cylinder": C112, "because": "leak"}, minutes_ago=7)
    freed = cast.write({"kind": "cylinder-released", "cylinder": C112, "answers": [leak]}, minutes_ago=6)
    for entry in (back, freed):
        address = f"/book/{index_of(entry)}/replace"
        answer = keeper.post(address, {**filled(keeper, address), "why": "nothing"})
        assert "Nothing differs" in answer.content.decode()
    address = f"/book/{index_of(back)}/replace"
    keeper.post(address, {**filled(keeper, address), "cause": "battery", "why": "Only the battery."})
    assert newest()["replacement"]["cause"] == "battery"
    state = Now().state(D17)
    assert isinstance(state, DetectorState)
    assert state.open_reasons == ()


def test_every_fault_stands_at_its_field_and_nothing_is_written(cast: Cast, keeper: Client) -> None:
    entry = cast.write({"kind": "gauge-read", "cylinder": C112, "gauge_bar": "41"}, minutes_ago=3)
    address = f"/book/{index_of(entry)}/replace"
    size = book.head().size
    answer = keeper.post(address, {**filled(keeper, address), "gauge_bar": "much"})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {"why"}
    answer = keeper.post(address, {**filled(keeper, address), "gauge_bar": "much", "why": "x"})
    assert set(answer.context["form"].errors) == {"gauge_bar"}
    assert book.head().size == size


def test_only_a_keeper_says_what_stands_instead(cast: Cast, tester: Client) -> None:
    assert tester.get("/book/16/replace").status_code == 403
    assert tester.get("/book/12/replace").status_code == 403


def values_of_test(client: Client, address: str) -> dict[str, str]:
    """The bump test's form as a browser would send it untouched."""
    page = client.get(address).content.decode()
    values = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page))
    values |= dict(re.findall(r'<input type="radio" name="([^"]+)" value="([^"]*)" checked', page))
    values |= dict(re.findall(r'<input id="[^"]+" name="([^"]+)"[^>]*? value="([^"]*)"', page))
    for name, body in re.findall(r'<select id="[^"]+" name="([^"]+)">(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'<option value="([^"]*)" selected>', body) or re.search(
            r"<option selected>([^<]*)<", body
        )
        values[name] = chosen[1] if chosen else ""
    return values


def test_a_bump_test_stands_whole_in_its_form(cast: Cast, keeper: Client) -> None:
    for index in (15, 16):
        answer = keeper.post(
            f"/book/{index}/replace", {**values_of_test(keeper, f"/book/{index}/replace"), "why": "nothing"}
        )
        assert answer.status_code == 422
        assert "Nothing differs from what stands." in answer.content.decode()


def test_a_bump_test_is_moved_to_another_detector_and_judged_anew(cast: Cast, keeper: Client) -> None:
    address = "/book/16/replace?about=D-019"
    answer = keeper.post(address, {**values_of_test(keeper, address), "why": "D-019 was in the hood."})
    assert answer.status_code == 302
    said = newest()
    assert said["replacement"]["outcome"] == "failed"
    assert said["about"] == [D18, C112, "detector:D-019"]
    freed, moved = Now().state(D18), Now().state("detector:D-019")
    assert isinstance(freed, DetectorState)
    assert isinstance(moved, DetectorState)
    assert freed.open_reasons == ()
    assert len(moved.open_reasons) == 1


def test_an_outcome_is_worked_out_from_what_was_seen_and_never_typed(cast: Cast, keeper: Client) -> None:
    values = values_of_test(keeper, "/book/15/replace") | {"reach-0-CO": "no", "why": "CO stayed silent."}
    keeper.post("/book/15/replace", values | {"outcome": "passed"})
    assert newest()["replacement"]["outcome"] == "failed"
    state = Now().state(D17)
    assert isinstance(state, DetectorState)
    assert state.open_reasons


def test_another_time_of_a_test_moves_its_gas_and_not_past_its_recording(cast: Cast, keeper: Client) -> None:
    row = book.at_index(15)
    assert row is not None
    before = read_leaf(row.leaf.encode()).body
    values = values_of_test(keeper, "/book/15/replace") | {"why": "Clock."}
    late = keeper.post("/book/15/replace", {**values, "ended": "2026-03-02T11:59"})
    assert late.status_code == 422
    assert "cannot have happened later" in late.content.decode()
    assert keeper.post("/book/15/replace", {**values, "ended": "2026-03-02T09:30"}).status_code == 302
    after = newest()["replacement"]
    assert after["at"] == "2026-03-02T09:30:00.000Z"
    assert after["applications"][0]["gas_on"] == "2026-03-02T09:29:00.000Z"
    assert before["applications"][0]["gas_on"] == text_of(ago(91))


def test_other_seconds_of_gas_are_counted_back_from_when_it_went_off(cast: Cast, keeper: Client) -> None:
    values = values_of_test(keeper, "/book/15/replace") | {"why": "Misread.", "gas-0-seconds": "45"}
    assert keeper.post("/book/15/replace", values).status_code == 302
    gas = newest()["replacement"]["applications"][0]
    assert (gas["gas_on"], gas["gas_off"]) == (text_of(ago(91.25)), text_of(ago(90.5)))


def test_a_bare_result_from_elsewhere_has_its_own_short_form(cast: Cast, keeper: Client) -> None:
    entry = cast.write(
        {"kind": "bump-test", "detector": D17, "footing": "reported", "outcome": "passed"}, minutes_ago=5
    )
    address = f"/book/{index_of(entry)}/replace"
    values = filled(keeper, address)
    assert "Nothing differs" in keeper.post(address, {**values, "why": "x"}).content.decode()
    keeper.post(address, {**values, "outcome": "failed", "why": "Read in the wrong row."})
    assert newest()["replacement"]["outcome"] == "failed"
    assert newest()["replacement"]["footing"] == "reported"


def test_a_voided_entry_can_stand_again(cast: Cast, keeper: Client) -> None:
    cast.write(
        {"kind": "correction", "corrects": str(getattr(book.at_index(15), "entry_id", "")), "how": "void",
         "reason": "Wrong one."},
        minutes_ago=4,
    )  # fmt: skip
    values = values_of_test(keeper, "/book/15/replace") | {"why": "It was right after all."}
    assert keeper.post("/book/15/replace", values).status_code == 302
    state = Now().state(D17)
    assert isinstance(state, DetectorState)
    assert [test.outcome for test in state.tests] == ["passed"]


def test_an_erased_text_keeps_its_place(cast: Cast, keeper: Client) -> None:
    from pitbird.store import blobs

    entry = cast.write(passed("D-017", ago(5)) | {"note": "Cold."}, minutes_ago=4)
    row = book.by_id(entry)
    assert row is not None
    commitment = read_leaf(row.leaf.encode()).body["note"]
    address = f"/book/{row.index}/replace"
    values = values_of_test(keeper, address) | {"note": "Cold.", "why": "x"}
    assert "Nothing differs" in keeper.post(address, values).content.decode()
    blobs.erase([commitment])
    values = values_of_test(keeper, address) | {"why": "x", "temperature": "3"}
    assert keeper.post(address, values).status_code == 302
    assert newest()["replacement"]["note"] == commitment


def test_correcting_a_test_spends_no_gas_and_says_nothing_of_what_the_gas_is_worth_today(
    cast: Cast, keeper: Client
) -> None:
    cast.write(
        {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-112", "because": "leak"}, minutes_ago=9
    )
    fresh = keeper.get("/test/D-017").content.decode()
    page = keeper.get("/book/15/replace").content.decode()
    for words in ("Before you spend gas.", "Test gas can be toxic or burn.", "Against it", "(not in order)"):
        assert words in fresh
        assert words not in page
    assert "Leave this empty if there was no other gas." in page
