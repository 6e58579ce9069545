"""The bump test page as a plain form: what is posted, what stands in the book, what is said."""

import re
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.fleet.times import ms_of
from pitbird.record.leaf import read_leaf
from pitbird.services import clock
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, write
from pitbird.store import book
from pitbird.web.views import bump_form, bump_gas
from tests.web.bump_book import begin, cylinder, detector, instant, passing


@pytest.fixture
def keeper(db: None) -> Actor:
    return begin()


@pytest.fixture
def page(keeper: Actor, client: Client) -> Client:
    """A browser without script in which the tester is signed in."""
    assert client.login(username="ilda", password="a long enough word")
    return client


def newest(subject: str = "detector:D-017") -> dict[str, Any]:
    """The body of the latest entry about a detector."""
    return read_leaf(book.about(subject)[-1].leaf.encode()).body


def text(response: Any) -> str:
    """What a page says, without its marks."""
    plain = re.sub(r"<script.*?</script>|<[^>]+>", " ", response.content.decode(), flags=re.DOTALL)
    return re.sub(r"\s+", " ", plain)


def send(page: Client, fields: dict[str, str], code: str = "D-017", *, status: int = 302) -> Any:
    response = page.post(f"/test/{code}", fields)
    assert response.status_code == status, text(response)[-1500:]
    return page.get(response["Location"]) if status == 302 else response


# --- writing


def test_a_passing_form_is_written_and_the_gate_says_that_it_may_go_out(page: Client) -> None:
    result = send(page, passing())
    body = newest()
    assert body["kind"] == "bump-test"
    assert body["outcome"] == "passed"
    assert body["by"] == "person:K-1"
    assert body["where"] == "site:north-works"
    assert body["temperature_c"] == "12"
    assert {"channel": "O2", "reading": "20.9", "right": "yes"} in body["clean_air"]
    (application,) = body["applications"]
    assert application["cylinder"] == "cylinder:C-112"
    assert application["regulator"] == "regulator:R-03"
    assert application["gauge_bar"] == "41"
    assert ms_of(application["gas_off"]) - ms_of(application["gas_on"]) == 25_000
    assert {"channel": "H2S", "reached": "yes", "after_s": "11"} in application["channels"]
    assert "stamp--may-go-out" in result.content.decode()
    assert "Passed" in text(result)


def test_the_phones_own_times_are_written_as_they_are(page: Client) -> None:
    on, off = instant(40), instant(12)
    send(page, passing(**{"gas-0-on": on, "gas-0-off": off, "gas-0-seconds": ""}))
    body = newest()
    assert (body["applications"][0]["gas_on"], body["applications"][0]["gas_off"]) == (on, off)
    assert body["at"] == off


def test_an_alarm_that_did_not_come_is_a_fail_said_loudly_and_takes_it_out_of_service(page: Client) -> None:
    result = send(page, passing(**{"reach-0-H2S": "no", "after-0-H2S": ""}))
    assert newest()["outcome"] == "failed"
    assert "Do not use it. Tag it. Do not start the work that needs it." in text(result)
    assert "H2S did not reach its alarm." in text(result)
    assert "stamp--out-of-service" in result.content.decode()


@pytest.mark.parametrize(
    ("changed", "outcome"),
    [
        ({"check-inlets_clear": "no"}, "failed"),
        ({"air-CO": "no"}, "failed"),
        ({"read-CO": "9"}, "failed"),
        ({"signal-vibration": "no"}, "failed"),
        ({"cleared-readings": "no"}, "failed"),
        ({"signal-vibration": None}, "spoiled"),
        ({"check-battery": None}, "spoiled"),
        ({"check-hose_tight": "no"}, "spoiled"),
        ({"reach-0-CO": None}, "spoiled"),
        ({"air-CO": None}, "spoiled"),
        ({"signal-sound": "perhaps"}, "spoiled"),
    ],
)
def test_a_no_is_a_fail_and_a_gap_is_never_a_pass(
    page: Client, changed: dict[str, str | None], outcome: str
) -> None:
    send(page, passing(**changed))
    assert newest()["outcome"] == outcome


def test_the_outcome_cannot_be_given_by_the_form(page: Client) -> None:
    send(page, passing(**{"reach-0-CO": "no", "outcome": "passed"}))
    assert newest()["outcome"] == "failed"


def test_a_spoiled_try_is_written_with_its_reason_and_withdraws_nothing(page: Client) -> None:
    result = send(page, passing(because="hood-slipped", **{"reach-0-H2S": "no"}))
    body = newest()
    assert (body["outcome"], body["spoiled_because"]) == ("spoiled", "hood-slipped")
    state = Now().state("detector:D-017")
    assert isinstance(state, DetectorState)
    assert state.open_reasons == ()
    assert "Try again" in text(result)
    send(page, passing())
    assert newest()["outcome"] == "passed"


def test_a_try_spoiled_before_any_gas_is_written_without_gas(page: Client) -> None:
    fields = {"id": clock.new_id(), "because": "broken-off", "gas-0-cylinder": "C-112"}
    send(page, fields)
    body = newest()
    assert (body["outcome"], body["applications"]) == ("spoiled", [])


@pytest.mark.parametrize("fields", [{}, {"gas-0-cylinder": "C-112", "temperature": "12", "note": "x"}])
def test_a_form_without_any_answer_is_no_try_and_is_not_written(page: Client, fields: dict[str, str]) -> None:
    before = book.head().size
    refused = send(page, {"id": clock.new_id(), **fields}, status=422)
    assert "Nothing was answered." in text(refused)
    assert book.head().size == before
    send(page, {"id": clock.new_id(), "check-battery": "no", **fields})
    assert newest()["outcome"] == "failed"


def test_a_reason_to_break_off_does_not_take_away_an_earlier_fail(page: Client) -> None:
    send(page, passing(because="broken-off", **{"signal-sound": "no"}))
    body = newest()
    assert body["outcome"] == "failed"
    assert "spoiled_because" not in body


def test_two_cylinders_are_two_applications_in_order(page: Client) -> None:
    send(
        page,
        passing(
            **{
                "air-CO2": "yes", "read-CO2": ".04",
                "gas-1-cylinder": "C-201", "gas-1-seconds": "30", "reach-1-CO2": "yes", "after-1-CO2": "14.5",
            }
        ),
        "D-018",
    )  # fmt: skip
    body = newest("detector:D-018")
    first, second = body["applications"]
    assert body["outcome"] == "passed"
    assert (first["cylinder"], second["cylinder"]) == ("cylinder:C-112", "cylinder:C-201")
    assert first["gas_off"] <= second["gas_on"] < second["gas_off"] == body["at"]
    assert second["channels"] == [{"channel": "CO2", "reached": "yes", "after_s": "14.5"}]
    assert {"channel": "CO2", "reading": "0.04", "right": "yes"} in body["clean_air"]


def test_a_five_gas_test_with_one_cylinder_only_is_no_pass(page: Client) -> None:
    result = send(page, passing(**{"air-CO2": "yes"}), "D-018")
    body = newest("detector:D-018")
    assert (body["outcome"], body["spoiled_because"]) == ("spoiled", "not-every-channel")
    assert "CO2 was not shown gas" in text(result)


def test_a_note_is_sealed_and_not_in_the_leaf(page: Client) -> None:
    send(page, passing(note="Clip loose."))
    assert newest()["note"].startswith("sha256:")


# --- sending twice


def test_sending_twice_is_harmless(page: Client) -> None:
    fields = passing()
    send(page, fields)
    size = book.head().size
    again = send(page, fields)
    assert book.head().size == size
    assert "Passed" in text(again)


def test_the_same_id_with_another_answer_is_refused_and_says_so(page: Client) -> None:
    fields = passing()
    send(page, fields)
    size = book.head().size
    refused = send(page, {**fields, "reach-0-CO": "no"}, status=409)
    assert book.head().size == size
    assert "stands in the book already" in text(refused)
    assert "Begin a new test" in text(refused)


# --- faults


def test_every_fault_is_tied_to_its_field_at_once_and_nothing_typed_is_lost(page: Client) -> None:
    size = book.head().size
    fields = passing(
        note="Clip loose.",
        temperature="mild",
        **{"gas-0-gauge": "sixty", "read-H2S": "O", "after-0-H2S": "eleven"},
    )
    refused = send(page, fields, status=422)
    html = refused.content.decode()
    assert book.head().size == size
    for name, typed in (
        ("temperature", "mild"), ("gas-0-gauge", "sixty"), ("read-H2S", "O"), ("after-0-H2S", "eleven"),
    ):  # fmt: skip
        tag = re.search(rf'<input id="([^"]+)" name="{name}"[^>]*>', html)
        assert tag is not None
        assert f'value="{typed}"' in tag[0]
        assert 'aria-invalid="true"' in tag[0]
        assert f'href="#{tag[1]}"' in html
        assert f'id="{tag[1]}-fault"' in html
    assert "Clip loose." in html
    assert f'name="id" value="{fields["id"]}"' in html
    assert html.count('value="yes" checked') == html_yes(fields)


def html_yes(fields: dict[str, str]) -> int:
    """How many answers of the form are yes."""
    return sum(value == "yes" for value in fields.values())


@pytest.mark.parametrize("seconds", ["", "none", "0", "-3", "4000", "nan"])
def test_answers_about_gas_need_the_seconds_of_gas(page: Client, seconds: str) -> None:
    refused = send(page, passing(**{"gas-0-seconds": seconds}), status=422)
    assert "Type for how many seconds the gas was on" in text(refused)


def test_gas_needs_its_cylinder(page: Client) -> None:
    refused = send(page, passing(**{"gas-0-cylinder": ""}), status=422)
    assert "Say which cylinder this gas came from." in text(refused)


def test_gas_that_is_still_on_is_not_written(page: Client) -> None:
    refused = send(page, passing(**{"gas-0-on": instant(20), "gas-0-seconds": ""}), status=422)
    assert "never off" in text(refused)


def test_times_that_cannot_be_are_refused_with_the_reason(page: Client) -> None:
    refused = send(page, passing(**{"gas-0-on": instant(20), "gas-0-off": instant(30)}), status=422)
    assert "cannot be read" in text(refused)
    refused = send(page, passing(**{"gas-0-on": instant(-600), "gas-0-off": instant(-660)}), status=422)
    assert "lies in the future" in text(refused)


def test_an_earlier_end_is_taken_on_the_sites_clock(page: Client) -> None:
    # Lisbon is on UTC in January (tz database, Europe/Lisbon).
    send(page, passing(ended="2026-01-05 06:41"))
    assert newest()["at"] == "2026-01-05T06:41:00.000Z"


def test_an_end_that_is_no_time_is_refused_at_its_field(page: Client) -> None:
    refused = send(page, passing(ended="this morning"), status=422)
    assert 'href="#f-ended"' in refused.content.decode()


def test_a_cylinder_that_the_book_does_not_know_is_refused_at_its_field(page: Client) -> None:
    refused = send(page, passing(**{"gas-0-cylinder": "C-113"}), status=422)
    html = refused.content.decode()
    assert 'href="#f-gas-0-cylinder"' in html
    assert '<option value="C-113" selected>' in html


def test_a_foreign_post_is_refused(keeper: Actor) -> None:
    strict = Client(enforce_csrf_checks=True)
    assert strict.login(username="ilda", password="a long enough word")
    assert strict.post("/test/D-017", passing()).status_code == 403


def test_nobody_writes_unsigned(keeper: Actor, client: Client) -> None:
    size = book.head().size
    response = client.post("/test/D-017", passing())
    assert response.status_code == 302
    assert "/test/" not in response["Location"].partition("?")[0]
    assert book.head().size == size


# --- before gas


def test_the_cylinder_in_use_is_chosen_with_its_regulator(page: Client) -> None:
    html = page.get("/test/D-017").content.decode()
    assert re.findall(r'<option value="([^"]+)" selected', html) == ["C-112"]
    assert re.findall(r"<option selected>([^<]+)", html) == ["R-03"]


def test_a_detector_that_needs_two_gases_gets_two_cylinders(page: Client) -> None:
    html = page.get("/test/D-018").content.decode()
    assert re.findall(r'<option value="([^"]+)" selected', html) == ["C-112", "C-201"]


def test_an_expired_cylinder_is_said_before_gas_is_spent(page: Client) -> None:
    said = text(page.get("/test/D-017"))
    assert "Before you spend gas." in said
    assert "Do not use cylinder C-090. Expired on" in said


def test_a_quarantined_cylinder_is_not_chosen_and_its_channels_are_said_to_be_without_gas(
    page: Client, keeper: Actor
) -> None:
    write(
        {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-112", "because": "suspect-contents"}, keeper
    )
    response = page.get("/test/D-017")
    said = text(response)
    assert "Quarantined: its gas is in doubt." in said
    assert "no usable cylinder here brings CH4, O2, CO, H2S to the alarm" in said
    assert 'value="C-112" selected' not in response.content.decode()


def test_a_detector_out_of_service_is_said_before_gas_is_spent(page: Client, keeper: Actor) -> None:
    write({"kind": "out-of-service", "detector": "detector:D-017", "because": "damaged"}, keeper)
    assert "This detector is out of service." in text(page.get("/test/D-017"))


def test_the_alarms_are_named_with_their_set_points(page: Client) -> None:
    said = text(page.get("/test/D-017"))
    assert "H2S reached its high alarm (10 ppm)" in said
    assert "O2 reached its very-low alarm (18 % vol)" in said
    assert "CH4 reached its high alarm (20 %LFL)" in said


def test_the_cautions_stand_with_the_gas(page: Client) -> None:
    said = text(page.get("/test/D-017"))
    for caution in (
        "A ventilated place",
        "away from your face",
        "ignite",
        "manual and local codes come first",
    ):
        assert caution in said


def test_no_script_and_no_style_stand_in_the_page(page: Client) -> None:
    html = page.get("/test/D-018").content.decode()
    assert " style=" not in html
    assert "<style" not in html
    assert re.findall(r"<script(?![^>]*\bsrc=)([^>]*)>", html) == [' id="for-script" type="application/json"']
    assert re.findall(r"\son[a-z]+=", html) == []


def test_every_id_stands_once(page: Client) -> None:
    ids = re.findall(r'\sid="([^"]+)"', page.get("/test/D-018").content.decode())
    assert len(ids) == len(set(ids))


def test_a_detector_without_description_gets_no_form(page: Client, keeper: Actor) -> None:
    # An imported book may hold entries about a detector that nobody described.
    from pitbird.services.appending import append
    from tests.bodies import body

    append(body("happened", detector="detector:D-099", what="drop"), recorded_at=clock.now())
    response = page.get("/test/D-099")
    assert "No test can pass." in text(response)
    assert 'id="bump"' not in response.content.decode()


# --- choosing


def test_a_code_is_found_however_it_is_scanned(page: Client) -> None:
    for typed in (
        "D-017",
        "d-017",
        " D-017 ",
        "detector:D-017",
        "https://book.example/test/D-017",
        "Q-88213",
    ):
        response = page.get("/test", {"detector": typed})
        assert (response.status_code, response.get("Location")) == (302, "/test/D-017"), typed


def test_an_unknown_code_is_answered_with_near_ones(page: Client) -> None:
    response = page.get("/test", {"detector": "D-O17"})
    assert response.status_code == 404
    assert 'href="/test/D-017"' in response.content.decode()
    assert "D-O17" in text(response)


def test_an_unknown_code_in_the_address_leads_to_the_same_answer(page: Client) -> None:
    response = page.get("/test/D-O17", follow=True)
    assert response.status_code == 404
    assert "Did you mean" in text(response)


def test_the_list_holds_those_that_need_a_test_worst_first(page: Client, keeper: Actor) -> None:
    write(detector("D-001", [detector_channel()]), keeper)
    write({"kind": "out-of-service", "detector": "detector:D-018", "because": "damaged"}, keeper)
    send(page, passing())
    html = page.get("/test").content.decode()
    assert re.findall(r'href="/test/([^"]+)"', html) == ["D-018", "D-001"]


def detector_channel() -> dict[str, Any]:
    from tests.bodies import CHANNELS

    return CHANNELS[0]


def test_the_page_costs_a_bounded_number_of_queries(page: Client) -> None:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        page.get("/test/D-018")
    assert len(seen) <= 24


# --- the parts


def test_the_gas_plan_takes_the_fewest_cylinders_that_serve_all(keeper: Actor) -> None:
    state = Now().state("detector:D-018")
    assert isinstance(state, DetectorState)
    offered = bump_gas.choices(
        state.channels, Now().all_of(CylinderState), site="site:north-works", now=clock.now(), zone="UTC"
    )
    order, left = bump_gas.plan_gas(state.channels, offered)
    assert [choice.code for choice in order] == ["C-112", "C-201"]
    assert left == []


def test_gas_leaner_than_the_alarm_serves_no_channel(keeper: Actor) -> None:
    write(
        cylinder("C-300", [{"gas": "hydrogen sulfide", "amount": "10", "unit": "ppm"}], expires="2030-01-01"),
        keeper,
    )
    weak, strong = (Now().state(f"cylinder:{code}") for code in ("C-300", "C-112"))
    state = Now().state("detector:D-017")
    assert isinstance(state, DetectorState)
    assert isinstance(weak, CylinderState)
    assert isinstance(strong, CylinderState)
    # 10 ppm is the high alarm itself: no gas that only just reaches it is counted upon.
    assert [bump_gas.serves(channel, weak) for channel in state.channels] == [False] * 4
    assert [bump_gas.serves(channel, strong) for channel in state.channels] == [True] * 4


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("20,9", "20.9"), ("+0", "0"), (" 12 ", "12"), (".04", "0.04"), ("−3", "-3"), ("5.", "5"),
        ("007", "7"), ("", ""), ("mild", "mild"), ("inf", "inf"),
    ],
)  # fmt: skip
def test_numbers_are_read_as_people_type_them(typed: str, read: str) -> None:
    assert bump_form.decimal(typed) == read


def test_a_test_entered_from_a_paper_slip_says_so_and_who_countersigned(page: Client) -> None:
    send(page, passing(slip="260302-D-017", tester="K-1", countersigned="K-1", ended="2026-01-05 06:41"))
    assert newest()["slip"] == {"number": "260302-D-017", "countersigned_by": "person:K-1"}


def test_a_slip_number_or_a_countersigner_that_cannot_be_is_told_at_its_field(page: Client) -> None:
    told = text(send(page, passing(slip="no. 7", tester="K-1", ended="2026-01-05 06:41"), status=422))
    assert "not the number of a slip" in told
    assert "X-9" in text(
        send(page, passing(slip="7", tester="K-1", countersigned="X-9", ended="2026-01-05 06:41"), status=422)
    )


def test_a_slip_is_entered_with_its_own_time_and_never_with_that_of_entering(page: Client) -> None:
    before = book.count_about("detector:D-017")
    told = text(send(page, passing(slip="260302-D-017"), status=422))
    assert "Type the day and the time at which the gas went off" in told
    timed = passing(slip="260302-D-017", **{"gas-0-on": instant(40), "gas-0-off": instant(12)})
    told = text(send(page, timed, status=422))
    assert "timed here and now" in told
    assert "Type the day and the time" in told
    assert "Write the number of the slip" in text(send(page, passing(countersigned="K-1"), status=422))
    assert book.count_about("detector:D-017") == before
    send(page, passing(slip="260302-D-017", tester="K-1", ended="2026-01-05 06:41"))
    assert newest()["at"].startswith("2026-01-05T")


def test_a_slip_is_the_testers_who_stands_on_it_and_tells_who_entered_it(page: Client, keeper: Actor) -> None:
    slip = {"slip": "260302-D-017", "ended": "2026-01-05 06:41"}
    write({"kind": "person", "person": "person:P-08", "name": "Tarn Oduya", "roles": ["tester"]}, keeper)
    before = book.count_about("detector:D-017")
    assert "Write the code of who tested" in text(send(page, passing(**slip), status=422))
    assert "P-99" in text(send(page, passing(**slip, tester="P-99"), status=422))
    assert "Write the number of the slip" in text(send(page, passing(tester="P-08"), status=422))
    assert book.count_about("detector:D-017") == before
    send(page, passing(**slip, tester="P-08"))
    assert (newest()["by"], newest()["slip"]["entered_by"]) == ("person:P-08", "person:K-1")
    send(page, passing(**slip, tester="person:K-1"))
    assert newest()["by"] == "person:K-1"
    assert "entered_by" not in newest()["slip"]


def test_on_the_page_of_a_slip_none_goes_without_its_number_as_a_test_of_here_and_now(page: Client) -> None:
    before = book.count_about("detector:D-017")
    for given in ({}, {"ended": "2026-01-05 06:41"}, {"slip": " "}):
        answer = page.post("/test/D-017?slip=", passing(**given))
        assert answer.status_code == 422
        assert "Write the number of the slip." in text(answer)
    assert book.count_about("detector:D-017") == before


def test_the_page_of_a_slip_holds_its_number_and_no_clock_of_the_phone(page: Client) -> None:
    plain = page.get("/test/D-017?slip=260302-D-017").content.decode()
    assert 'value="260302-D-017"' in plain
    assert "as on the slip" in plain
    assert "bump-page.js" not in plain
    assert "for-script" not in plain
    live = page.get("/test/D-017").content.decode()
    assert "bump-page.js" in live
    assert "/test/D-017?slip=" in live
    assert 'name="slip"' not in live


def test_it_leads_to_the_page_for_phones_and_a_keeper_to_a_table_of_tests(page: Client) -> None:
    html = page.get("/test", secure=True).content.decode()
    assert 'href="/field/"' in html
    assert 'href="/tables/tests"' in html
    assert 'href="/field/"' not in page.get("/test").content.decode(), "nothing works there without https"
