"""Writing by hand: every kind is written once, faults stand at their fields, nothing typed is lost."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.http import HttpResponse
from django.test import Client

from pitbird.fleet.state import CylinderState, DetectorState, PersonState, SiteState
from pitbird.services.knowing import Now
from pitbird.store import book
from pitbird.web.entries import body_of
from pitbird.web.forms.lines import read_alarms, read_other_gases
from tests.web.conftest import Cast, ago, passed


def sent(client: Client, address: str, fields: dict[str, Any], entry_id: str = "") -> HttpResponse:
    """Open a page and send its form with these fields, beside those that it came with."""
    page = client.get(address)
    assert page.status_code == 200, page.content
    form = page.context["form"]
    first = {
        bound.html_name: bound.value()
        for bound in form
        if bound.value() not in (None, "", False) and bound.name != "at"
    }
    data = {**first, **fields}
    if entry_id:
        data["entry_id"] = entry_id
    return client.post(address, {name: value for name, value in data.items() if value is not None})  # type: ignore[return-value]


def newest() -> dict[str, Any]:
    """The body of the newest entry."""
    return body_of(book.newest(1)[0])


def faults(answer: HttpResponse) -> dict[str, list[str]]:
    """The faults of a refused page by field."""
    assert answer.status_code == 422
    return {name: list(found) for name, found in answer.context["form"].errors.items()}  # type: ignore[attr-defined]


D17, D18, C112, P07 = "detector:D-017", "detector:D-018", "cylinder:C-112", "person:P-07"

WRITTEN: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    (f"/write/handed-out?about={D17}", {"to": P07, "from_store": "yes", "permit": "PTW-1"},
     {"kind": "handed-out", "to": P07, "from_store": True, "permit": "PTW-1"}),
    (f"/write/handed-back?about={D17}", {"back_from": P07}, {"kind": "handed-back", "back_from": P07}),
    (f"/write/happened?about={D17}", {"what": "drop", "channels": ["CO"]},
     {"kind": "happened", "what": "drop", "channels": ["CO"]}),
    (f"/write/out-of-service?about={D17}", {"because": "suspect"},
     {"kind": "out-of-service", "because": "suspect"}),
    (f"/write/repaired?about={D18}", {"cause": "sensor-worn", "replaced": ["H2S"]},
     {"kind": "repaired", "cause": "sensor-worn", "replaced": ["H2S"]}),
    (f"/write/fresh-air-set?about={D17}", {"air": "outdoors"}, {"kind": "fresh-air-set", "air": "outdoors"}),
    (f"/write/alarm-in-use?about={D17}", {"channel": "H2S", "peak": "14"},
     {"kind": "alarm-in-use", "channel": "H2S", "peak": "14"}),
    (f"/write/issued-untested?about={D17}",
     {"to": P07, "authority": "person:K-1", "until": "2026-03-02T15:00", "reason": "Sewage rising."},
     {"kind": "issued-untested", "until": "2026-03-02T15:00:00.000Z"}),
    (f"/write/calibration?about={D17}",
     {"cylinders": [C112], "zeroed": "yes", "channels-3-applied": "20", "channels-3-as_found": "18",
      "channels-3-as_left": "20", "channels-3-result": "within", "result": "passed"},
     {"kind": "calibration", "cylinders": [C112], "channels": [
         {"channel": "H2S", "applied": "20", "as_found": "18", "as_left": "20", "adjusted": "yes",
          "result": "within"}]}),
    (f"/write/note?about={D17}", {"text": "Clip is loose."}, {"kind": "note", "subject": D17}),
    (f"/write/gauge-read?about={C112}", {"gauge_bar": "38.5"}, {"kind": "gauge-read", "gauge_bar": "38.5"}),
    (f"/write/cylinder-received?about={C112}", {"at_site": "site:north-works"},
     {"kind": "cylinder-received"}),
    (f"/write/cylinder-opened?about={C112}", {"gauge_bar": "60"},
     {"kind": "cylinder-opened", "at_site": "site:north-works", "gauge_bar": "60"}),
    (f"/write/cylinder-emptied?about={C112}", {}, {"kind": "cylinder-emptied"}),
    (f"/write/cylinder-quarantined?about={C112}", {"because": "leak", "since": "2026-03-02T08:00"},
     {"kind": "cylinder-quarantined", "since": "2026-03-02T08:00:00.000Z"}),
    (f"/write/training?about={P07}", {"topic": "calibration", "valid_until": "2027-03-01"},
     {"kind": "training", "topic": "calibration", "valid_until": "2027-03-01", "result": "passed"}),
    ("/write/person", {"code": "P-20", "name": "Ana Prado", "roles": ["wearer"]},
     {"kind": "person", "person": "person:P-20", "roles": ["wearer"]}),
    ("/write/site", {"code": "south", "name": "South works", "site_zone": "Atlantic/Azores",
                     "change_overs": "06:00, 18:00"},
     {"kind": "site", "site": "site:south", "change_overs": ["06:00", "18:00"]}),
    ("/write/regulator", {"code": "R-03", "flow": "fixed", "flow_l_min": "0.5"},
     {"kind": "regulator", "regulator": "regulator:R-03", "flow_l_min": "0.5"}),
    ("/write/detector?like=D-017", {"code": "D-030", "serial": "Q-90000"},
     {"kind": "detector", "detector": "detector:D-030", "serial": "Q-90000", "make": "Heron Works"}),
    ("/write/cylinder?like=C-112", {"code": "C-113", "lot": "L-3000", "expires": "2027-12-31"},
     {"kind": "cylinder", "cylinder": "cylinder:C-113", "lot": "L-3000", "balance": "nitrogen"}),
]  # fmt: skip


@pytest.mark.parametrize(("address", "fields", "says"), WRITTEN, ids=[row[0] for row in WRITTEN])
def test_each_kind_is_written_from_its_page(
    cast: Cast, keeper: Client, address: str, fields: dict[str, Any], says: dict[str, Any]
) -> None:
    if "cylinder-received" in address:
        assert isinstance(Now().state(C112), CylinderState)
    answer = sent(keeper, address, fields)
    assert answer.status_code == 302, answer.content
    written = newest()
    assert {name: written.get(name) for name in says} == says
    assert written["by"] == "person:K-1"
    assert "entry 17" in keeper.get(answer["Location"]).content.decode().lower()


def test_after_writing_about_a_detector_the_page_says_what_the_gate_says_now(keeper: Client) -> None:
    answer = sent(keeper, f"/write/out-of-service?about={D17}", {"because": "damaged"})
    page = keeper.get(answer["Location"]).content.decode()
    assert "Entry 17: D-017 taken out of service: damaged." in page
    assert "D-017: out of service." in page
    assert "Do not use it. Do not start the work that needs it." in page


def test_what_may_still_go_out_is_said_to_until_when(keeper: Client) -> None:
    answer = sent(keeper, f"/write/note?about={D17}", {"text": "Clip is loose."})
    assert "D-017 may go out until Tue 3 Mar, 04:00 WET." in keeper.get(answer["Location"]).content.decode()


def test_every_fault_stands_at_its_field_and_nothing_typed_is_lost(keeper: Client) -> None:
    address = f"/write/calibration?about={D17}"
    answer = sent(
        keeper,
        address,
        {
            "channels-3-applied": "2O", "channels-3-as_found": "18,5", "channels-3-result": "within",
            "channels-0-applied": "50", "tolerance_pct": "many", "result": "passed",
            "note": "Typed long ago.",
        },
    )  # fmt: skip
    found = faults(answer)
    assert set(found) == {"channels-3-applied", "channels-3-as_found", "channels-0-result", "tolerance_pct"}
    assert 'write "18.5" with a point' in found["channels-3-as_found"][0]
    page = answer.content.decode()
    for typed in ("2O", "18,5", "many", "Typed long ago."):
        assert typed in page
    assert 'role="alert"' in page
    assert 'href="#f-tolerance_pct"' in page
    assert 'aria-invalid="true"' in page
    assert book.head().size == 17


def test_a_passed_calibration_with_a_channel_outside_is_refused(keeper: Client) -> None:
    answer = sent(
        keeper,
        f"/write/calibration?about={D17}",
        {"channels-3-applied": "20", "channels-3-result": "outside", "result": "passed"},
    )
    assert "has not passed" in str(faults(answer))


def test_an_empty_form_names_everything_that_is_missing(keeper: Client) -> None:
    found = faults(sent(keeper, f"/write/issued-untested?about={D17}", {}))
    assert set(found) == {"to", "authority", "until", "reason"}


def test_a_time_in_the_future_is_refused_at_its_field(keeper: Client) -> None:
    found = faults(sent(keeper, f"/write/happened?about={D17}", {"what": "drop", "at": "2026-03-02T12:30"}))
    assert "lies in the future" in found["at"][0].lower()


def test_a_time_is_read_on_the_clock_of_the_detectors_site(cast: Cast, keeper: Client) -> None:
    cast.write(
        {"kind": "site", "site": "site:isle", "name": "Isle", "site_zone": "Atlantic/Azores"}, minutes_ago=9
    )
    cast.write({"kind": "handed-back", "detector": D17, "to_site": "site:isle"}, minutes_ago=8)
    sent(keeper, f"/write/happened?about={D17}", {"what": "drop", "at": "2026-03-02T10:50"})
    written = newest()
    # The Azores are an hour behind UTC in winter (IANA: Atlantic/Azores).
    assert (written["at"], written["zone"], written["where"]) == (
        "2026-03-02T11:50:00.000Z", "Atlantic/Azores", "site:isle",
    )  # fmt: skip


def test_sending_a_page_twice_writes_once(keeper: Client) -> None:
    entry_id = "0195a000-0000-7000-8000-0000000000aa"
    for expected in ("Entry 17: ", "It stood in the book already, as entry 17: "):
        answer = sent(keeper, f"/write/happened?about={D17}", {"what": "drop"}, entry_id)
        assert answer.status_code == 302
        assert expected in keeper.get(answer["Location"]).content.decode()
    assert book.head().size == 18


def test_a_page_sent_again_with_other_words_is_refused(keeper: Client) -> None:
    entry_id = "0195a000-0000-7000-8000-0000000000aa"
    sent(keeper, f"/write/happened?about={D17}", {"what": "drop"}, entry_id)
    answer = sent(keeper, f"/write/happened?about={D17}", {"what": "water"}, entry_id)
    assert "stands as entry 17" in str(faults(answer))
    assert book.head().size == 18


def test_a_detector_that_the_gate_holds_back_is_not_handed_out_by_mistake(keeper: Client) -> None:
    address = f"/write/handed-out?about={D18}"
    assert "stamp--out-of-service" in keeper.get(address).content.decode()
    found = faults(sent(keeper, address, {"to": P07, "from_store": "yes"}))
    assert "The gate does not let it go out" in found["gone"][0]
    assert book.head().size == 17
    answer = sent(keeper, address, {"to": P07, "from_store": "yes", "gone": "on"})
    assert answer.status_code == 302  # what has happened is written down
    assert "Do not use it." in keeper.get(answer["Location"]).content.decode()


def test_what_is_out_of_service_is_not_issued_untested_on_anybodys_authority(keeper: Client) -> None:
    fields = {"to": P07, "authority": "person:K-1", "until": "2026-03-02T15:00", "reason": "Sewage rising."}
    answer = sent(keeper, f"/write/issued-untested?about={D18}", fields)
    assert "nobody's authority mends that" in str(faults(answer))
    assert book.head().size == 17


def test_a_return_to_service_names_the_reasons_and_the_test(cast: Cast, keeper: Client) -> None:
    cast.write({"kind": "out-of-service", "detector": D18, "because": "suspect"}, minutes_ago=50)
    cast.write(
        {"kind": "repaired", "detector": D18, "cause": "sensor-worn", "replaced": ["H2S"]}, minutes_ago=40
    )
    test = cast.write(passed("D-018", ago(20)), minutes_ago=19, by=cast.tester)
    state = Now().state(D18)
    assert isinstance(state, DetectorState)
    failed = next(reason.entry for reason in state.open_reasons if reason.because == "test-failed")
    address = f"/write/returned-to-service?about={D18}"
    page = keeper.get(address).content.decode()
    assert "failed on H2S" in page
    assert "taken out of service: suspect" in page
    assert "answers" in faults(sent(keeper, address, {"cause": "sensor-worn"}))
    answer = sent(keeper, address, {"answers": [failed], "cause": "sensor-worn", "tested": test})
    assert answer.status_code == 302
    assert newest()["answers"] == [failed]
    after = Now().state(D18)
    assert isinstance(after, DetectorState)
    assert [reason.because for reason in after.open_reasons] == ["suspect"]


def test_a_doubt_about_gas_is_answered_from_its_page(cast: Cast, keeper: Client) -> None:
    doubt = cast.write(
        {"kind": "cylinder-quarantined", "cylinder": C112, "because": "suspect-contents"}, minutes_ago=30
    )
    answer = sent(keeper, f"/write/cylinder-released?about={C112}", {"answers": [doubt]})
    assert answer.status_code == 302
    state = Now().state(C112)
    assert isinstance(state, CylinderState)
    assert state.withdrawn[0].until is not None


def test_a_detector_like_another_has_the_same_channels_but_its_own_code(keeper: Client) -> None:
    sent(keeper, "/write/detector?like=D-017", {"code": "D-030", "serial": "Q-90000"})
    old, new = Now().state(D17), Now().state("detector:D-030")
    assert isinstance(old, DetectorState)
    assert isinstance(new, DetectorState)
    assert new.channels == old.channels
    assert new.serial == "Q-90000"


def test_a_code_that_is_taken_is_refused(keeper: Client) -> None:
    found = faults(sent(keeper, "/write/detector?like=D-017", {"code": "D-018", "serial": "Q-1"}))
    assert "The book has one with this code already." in found["code"][0]


def test_a_detector_described_anew_keeps_its_code_and_needs_gas_again(keeper: Client) -> None:
    alarms = "low 5 rising gas\nhigh 8 rising gas"
    answer = sent(keeper, "/write/detector?about=D-017", {"channels-3-alarms": alarms})
    assert answer.status_code == 302
    state = Now().state(D17)
    assert isinstance(state, DetectorState)
    assert [alarm.at for alarm in state.channels[3].alarms] == ["5", "8"]
    assert "may go out until" not in keeper.get(answer["Location"]).content.decode()


def test_another_row_keeps_what_was_typed_and_writes_nothing(keeper: Client) -> None:
    answer = sent(keeper, "/write/detector", {"code": "D-040", "channels-0-name": "CO", "more": "1"})
    assert answer.status_code == 200
    page = answer.content.decode()
    assert 'value="D-040"' in page
    assert "channels-1-name" in page
    assert 'role="alert"' not in page
    assert book.head().size == 17


def test_the_first_detector_of_a_fleet_is_written_channel_by_channel(keeper: Client) -> None:
    answer = sent(
        keeper,
        "/write/detector",
        {
            "code": "D-041", "make": "Brindlow", "model": "Gillmark C", "serial": "GC-1",
            "draws": "diffusion",
            "signals": ["sound", "light"], "home": "site:north-works", "channels-0-name": "CO",
            "channels-0-gas": "carbon monoxide", "channels-0-principle": "electrochemical",
            "channels-0-unit": "ppm", "channels-0-range_high": "500", "channels-0-clean_air": "0",
            "channels-0-clean_air_tolerance": "3", "channels-0-alarms": "low 30\nhigh 60",
        },
    )  # fmt: skip
    assert answer.status_code == 302, faults(answer)
    state = Now().state("detector:D-041")
    assert isinstance(state, DetectorState)
    assert state.channels[0].must_show is not None
    assert state.channels[0].must_show.at == "60"


def test_faults_of_a_channel_stand_in_its_row(keeper: Client) -> None:
    found = faults(
        sent(
            keeper,
            "/write/detector?like=D-017",
            {"code": "D-042", "serial": "1", "channels-1-name": None, "channels-1-range_high": "x",
             "channels-2-alarms": "low"},
        )
    )  # fmt: skip
    assert "channels-2-alarms" in found
    assert "Line 1" in found["channels-2-alarms"][0]
    found = faults(
        sent(
            keeper,
            "/write/detector?like=D-017",
            {"code": "D-042", "serial": "1", "channels-1-range_high": "x", "channels-0-lfl_basis": None},
        )
    )
    assert set(found) == {"channels-1-range_high", "channels-0-name"}


def test_a_person_described_anew_comes_with_name_and_roles(keeper: Client) -> None:
    answer = sent(keeper, "/write/person?about=P-07", {"left": "2026-03-01"})
    assert answer.status_code == 302
    state = Now().state(P07)
    assert isinstance(state, PersonState)
    assert (state.left, state.roles) == ("2026-03-01", ("tester", "wearer"))


def test_a_site_described_anew_keeps_its_rules(keeper: Client) -> None:
    answer = sent(keeper, "/write/site?about=north-works", {"change_overs": "06:00 14:00 22:00"})
    assert answer.status_code == 302
    state = Now().state("site:north-works")
    assert isinstance(state, SiteState)
    assert state.change_overs == ("06:00", "14:00", "22:00")
    assert state.adoptions


def test_an_entry_is_voided_with_a_reason(keeper: Client) -> None:
    answer = sent(keeper, "/write/correction?entry=16", {"how": "void", "reason": "Wrong detector."})
    assert answer.status_code == 302
    assert newest()["of_about"] == [D18, C112]
    state = Now().state(D18)
    assert isinstance(state, DetectorState)
    assert state.open_reasons == ()
    assert "reason" in faults(sent(keeper, "/write/correction?entry=15", {"how": "void"}))


def test_an_entry_is_replaced_by_what_stands_in_the_field(cast: Cast, keeper: Client) -> None:
    cast.write({"kind": "happened", "detector": D17, "what": "water"}, minutes_ago=3)
    page = keeper.get("/write/correction?entry=17")
    text = page.context["form"]["replacement"].value()
    answer = sent(
        keeper,
        "/write/correction?entry=17",
        {"how": "replace", "reason": "It was a drop.", "replacement": text.replace("water", "drop")},
    )
    assert answer.status_code == 302, faults(answer)
    state = Now().state(D17)
    assert isinstance(state, DetectorState)
    assert [event.what for event in state.events] == ["drop", "calibration"]


@pytest.mark.parametrize("text", ["", "{", '{"what": "drop", "what": "water"}', "[1]", '{"levity": "1"}'])
def test_a_replacement_that_cannot_be_read_is_refused_at_its_field(
    cast: Cast, keeper: Client, text: str
) -> None:
    cast.write({"kind": "happened", "detector": D17, "what": "water"}, minutes_ago=3)
    answer = sent(
        keeper, "/write/correction?entry=17", {"how": "replace", "reason": "x", "replacement": text}
    )
    assert "replacement" in faults(answer)


def test_without_a_subject_the_page_asks_for_one_and_takes_code_or_serial_number(keeper: Client) -> None:
    asked = keeper.get("/write/happened").content.decode()
    assert "Which detector is it about?" in asked
    for typed in ("D-017", "d-017", "q-88213", "detector:D-017"):
        page = keeper.get("/write/happened", {"about": typed})
        assert page.status_code == 200
        assert "What happened to it?" in page.content.decode()
    lost = keeper.get("/write/happened?about=D-404")
    assert lost.status_code == 404
    assert "D-404" in lost.content.decode()


@pytest.mark.parametrize(
    "kind",
    ["person", "site", "detector", "cylinder", "rules-adopted", "returned-to-service", "calibration",
     "issued-untested", "repaired", "training", "cylinder-released"],
)  # fmt: skip
def test_a_tester_does_not_write_what_takes_more_than_a_tester(tester: Client, kind: str) -> None:
    assert tester.get(f"/write/{kind}").status_code == 403
    assert tester.post(f"/write/{kind}", {}).status_code == 403


@pytest.mark.parametrize("kind", ["out-of-service", "happened", "handed-back", "alarm-in-use", "note"])
def test_taking_a_detector_out_of_use_is_barred_to_nobody(tester: Client, kind: str) -> None:
    assert tester.get(f"/write/{kind}?about={D17}").status_code == 200


@pytest.mark.parametrize(
    "kind", ["genesis", "erasure", "epoch", "key-changed", "bump-test", "sensor", "nonsense"]
)
def test_what_has_no_page_is_not_found(keeper: Client, kind: str) -> None:
    assert keeper.get(f"/write/{kind}").status_code == 404


@pytest.mark.parametrize(
    "address", ["/write/correction", "/write/correction?entry=x", "/write/correction?entry=99"]
)
def test_a_correction_of_nothing_is_not_found(keeper: Client, address: str) -> None:
    assert keeper.get(address).status_code == 404


def test_alarms_are_read_line_by_line() -> None:
    assert read_alarms("low 19.5 falling\n\nTWA 20 none\nhigh 23.5 rising self-check") == [
        {"name": "low", "at": "19.5", "direction": "falling"},
        {"name": "twa", "at": "20", "shown_by": "none"},
        {"name": "high", "at": "23.5", "direction": "rising", "shown_by": "self-check"},
    ]


def test_worked_readings_are_read_line_by_line() -> None:
    assert read_other_gases("50 pct_lfl propane reads 39\n\n 5 ppm hydrogen cyanide reads -2 ") == [
        {"amount": "50", "unit": "pct_lfl", "gas": "propane", "reads": "39"},
        {"amount": "5", "unit": "ppm", "gas": "hydrogen cyanide", "reads": "-2"},
    ]


def test_a_worked_reading_that_cannot_be_read_is_repeated_with_how_to_write_it() -> None:
    with pytest.raises(ValidationError, match=r"“propane 0\.6” cannot be read\. Write: 50 pct_lfl"):
        read_other_gases("propane 0.6")
