"""An entry held against what is known: names, clocks, channels."""

import copy
from typing import Any

import pytest

from pitbird.fleet import state
from pitbird.fleet.kinds import KINDS
from pitbird.fleet.times import MINUTE, Ms, ms_of
from pitbird.intake.checks import BRINGS, REFERENCES, check_against, remarks
from pitbird.intake.entries import read_body

NOW = ms_of("2026-03-02T07:00:00.000Z")
DETECTOR = state.DetectorState(
    subject="detector:D-017",
    channels=(
        state.ChannelFact(
            name="H2S",
            gas="hydrogen sulfide",
            principle="electrochemical",
            unit="ppm",
            range_high="100",
            clean_air="0",
            clean_air_tolerance="1",
            alarms=(state.AlarmFact(name="high", at="10", direction="rising", shown_by="gas"),),
        ),
    ),
)
SITE = state.SiteState(subject="site:north-works", zone="Europe/Lisbon")
STATES: dict[str, state.State] = {DETECTOR.subject: DETECTOR, SITE.subject: SITE}
EVERYTHING = {
    "detector:D-017", "cylinder:C-112", "regulator:R-03", "site:north-works", "sensor:S-5521", "rules:strict",
    "device:PH-01",
    "person:P-01", "person:P-02", "person:P-07", "person:P-12",
}  # fmt: skip


def checked(
    kind: str, *, without: tuple[str, ...] = (), near: dict[str, list[str]] | None = None, **changes: Any
) -> list[str]:
    """What is said of the example of a kind, changed, with some things unknown to the book."""
    body, faults = read_body({**copy.deepcopy(KINDS[kind].EXAMPLE), **changes})
    assert faults == ()
    assert body is not None
    found = check_against(
        body,
        now=NOW,
        known=lambda subject: subject in EVERYTHING and subject not in without,
        describe=STATES.get,
        near=lambda subject: (near or {}).get(subject, []),
    )
    return [str(fault) for fault in found]


# --- Names --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_example_holds_against_a_book_that_knows_everything(kind: str) -> None:
    assert checked(kind) == []


@pytest.mark.parametrize(
    ("kind", "subject", "field"),
    [
        ("bump-test", "detector:D-017", "detector"),
        ("bump-test", "cylinder:C-112", "applications[0].cylinder"),
        ("bump-test", "regulator:R-03", "applications[0].regulator"),
        ("bump-test", "person:P-07", "by"),
        ("bump-test", "site:north-works", "where"),
        ("calibration", "cylinder:C-112", "cylinders[0]"),
        ("handed-out", "person:P-12", "to"),
        ("issued-untested", "person:P-01", "authority"),
        ("training", "person:P-02", "trainer"),
        ("sensor", "detector:D-017", "fitted_in"),
        ("cylinder-received", "cylinder:C-112", "cylinder"),
        ("note", "detector:D-017", "subject"),
    ],
)
def test_a_thing_that_the_book_does_not_know_is_named_where_it_stands(
    kind: str, subject: str, field: str
) -> None:
    sort = subject.partition(":")[0]
    assert (
        f"{kind}.{field} = '{subject}': the book knows no such {sort}; write down the {sort} first"
        in checked(kind, without=(subject,))
    )


def test_near_names_are_offered() -> None:
    near = {"detector:D-017": ["detector:D-011", "detector:D-017a"]}
    assert checked("happened", without=("detector:D-017",), near=near) == [
        (
            "happened.detector = 'detector:D-017': the book knows no such detector; did you mean "
            "detector:D-011 or detector:D-017a?"
        )
    ]


@pytest.mark.parametrize(("kind", "field"), sorted(BRINGS.items()))
def test_an_entry_that_brings_a_thing_into_the_book_need_not_find_it_there(kind: str, field: str) -> None:
    assert checked(kind, without=(KINDS[kind].EXAMPLE[field],)) == []


def test_the_first_entry_of_a_book_refers_to_nobody_who_was_there_before() -> None:
    assert checked("genesis", without=("person:P-07",)) == []


def test_what_a_replacement_names_must_be_known_too() -> None:
    replacement = {**KINDS["happened"].EXAMPLE, "detector": "detector:D-099"}
    found = checked("correction", how="replace", replacement=replacement)
    assert found == [
        (
            "correction.replacement.detector = 'detector:D-099': the book knows no such detector; write "
            "down the detector first"
        )
    ]


def references(schema: Any, name: str = "") -> set[str]:
    """The names of the fields of a JSON Schema whose text must be a reference to a thing."""
    if isinstance(schema, list):
        return set().union(*(references(item, name) for item in schema))
    if not isinstance(schema, dict):
        return set()
    pattern = str(schema.get("pattern", ""))
    found = {name} if pattern.endswith(":[A-Za-z0-9][A-Za-z0-9._-]{0,63}$") else set()
    for key, item in schema.items():
        if key in ("properties", "$defs"):
            found = found.union(*(references(inner, field) for field, inner in item.items()))
        else:
            found |= references(item, name)
    return found


def test_the_fields_held_against_the_book_are_all_that_refer_to_things() -> None:
    used = set().union(*(references(kind.model_json_schema()) for kind in KINDS.values()))
    assert used - {"about", "book"} == REFERENCES


# --- Clocks -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "refused"),
    [
        ("2026-03-02T07:00:00.000Z", False),
        ("2026-03-02T07:02:00.000Z", False),
        ("2026-03-02T07:02:00.001Z", True),
        ("2027-03-02T06:41:00.000Z", True),
    ],
)
def test_typed_input_may_lie_two_minutes_ahead_and_no_more(at: str, refused: bool) -> None:
    said = [f"gauge-read.at = '{at}': lies in the future; look at the date, the hour and the offset"]
    assert checked("gauge-read", at=at) == (said if refused else [])


def gas(on: str, off: str, at: str = "2026-03-02T06:41:00.000Z") -> list[str]:
    application = {**KINDS["bump-test"].EXAMPLE["applications"][0], "gas_on": on, "gas_off": off}
    return checked("bump-test", at=at, applications=[application])


def test_gas_in_the_future_is_refused() -> None:
    assert gas("2026-03-02T07:03:00.000Z", "2026-03-02T07:03:20.000Z") == [
        (
            "bump-test.applications[0].gas_on = '2026-03-02T07:03:00.000Z': lies in the future; look at "
            "the date, the hour and the offset"
        ),
        (
            "bump-test.applications[0].gas_off = '2026-03-02T07:03:20.000Z': lies in the future; look at "
            "the date, the hour and the offset"
        ),
    ]


def test_gas_for_an_hour_is_believed_and_for_longer_is_not() -> None:
    assert gas("2026-03-02T05:41:00.000Z", "2026-03-02T06:41:00.000Z") == []
    assert gas("2026-03-02T05:40:00.000Z", "2026-03-02T06:41:00.000Z") == [
        (
            "bump-test.applications[0].gas_off = '2026-03-02T06:41:00.000Z': gas on for 61 minutes; look at "
            "both times"
        )
    ]


def test_gas_on_another_day_than_the_test_is_refused() -> None:
    assert gas("2026-02-02T06:40:00.000Z", "2026-02-02T06:40:20.000Z") == [
        (
            "bump-test.applications[0].gas_on = '2026-02-02T06:40:00.000Z': gas on more than a day away "
            "from the test's own time; look at both"
        )
    ]


def test_a_quarantine_cannot_begin_in_the_future_and_an_issue_cannot_end_before_it_began() -> None:
    assert checked("cylinder-quarantined", since="2026-03-03T00:00:00.000Z") == [
        (
            "cylinder-quarantined.since = '2026-03-03T00:00:00.000Z': lies in the future; look at the "
            "date, the hour and the offset"
        )
    ]
    assert checked("issued-untested", until="2026-03-02T06:41:00.000Z") == [
        "issued-untested.until = '2026-03-02T06:41:00.000Z': does not lie after the entry's own time"
    ]
    assert checked("handed-out", due_back="2026-03-01T17:00:00.000Z") == [
        "handed-out.due_back = '2026-03-01T17:00:00.000Z': does not lie after the entry's own time"
    ]


@pytest.mark.parametrize(
    ("roles", "left", "told"),
    [
        (("tester", "wearer"), None, "has no such authority; only a keeper or a competent person has"),
        (("keeper",), "2026-03-01", "left on 2026-03-01"),
        (("keeper",), "2026-03-02", None),
        (("tester", "competent"), None, None),
    ],
)
def test_an_issue_without_a_test_needs_an_authority_who_is_still_here(
    monkeypatch: pytest.MonkeyPatch, roles: tuple[str, ...], left: str | None, told: str | None
) -> None:
    authority = KINDS["issued-untested"].EXAMPLE["authority"]
    person = state.PersonState(subject=authority, roles=roles, left=left)
    monkeypatch.setitem(STATES, authority, person)
    where = f"issued-untested.authority = '{authority}'"
    assert checked("issued-untested") == ([f"{where}: {told}"] if told else [])
    # What is put in the place of another entry is held to the same.
    issue = {**KINDS["issued-untested"].EXAMPLE}
    corrected = checked("correction", how="replace", replacement=issue)
    assert [fault for fault in corrected if "authority" in fault] == (
        [f"correction.replacement.authority = '{authority}': {told}"] if told else []
    )


def test_rules_may_take_effect_later() -> None:
    assert checked("rules-adopted", effective="2026-04-01T00:00:00.000Z") == []


# --- Channels -----------------------------------------------------------------------------------------------


def test_channels_that_the_detector_lacks_are_named_wherever_they_stand() -> None:
    example = copy.deepcopy(KINDS["bump-test"].EXAMPLE)
    example["applications"][0]["channels"].append({"channel": "CO", "reached": "yes"})
    found = checked(
        "bump-test", clean_air=[{"channel": "h2s", "right": "yes"}], applications=example["applications"]
    )
    assert found == [
        (
            "bump-test.clean_air[0].channel = 'h2s': detector:D-017 has no such channel; it has H2S; did you "
            "mean H2S?"
        ),
        (
            "bump-test.applications[0].channels[1].channel = 'CO': detector:D-017 has no such channel; it "
            "has H2S"
        ),
    ]


@pytest.mark.parametrize(
    ("kind", "changes", "where"),
    [
        ("calibration", {"channels": [{"channel": "CO", "applied": "100", "result": "within"}]},
         "channels[0].channel"),
        ("happened", {"channels": ["CO"]}, "channels[0]"),
        ("repaired", {"replaced": ["CO"]}, "replaced[0]"),
        ("alarm-in-use", {"channel": "CO"}, "channel"),
        ("sensor", {"channel": "CO"}, "channel"),
    ],
)  # fmt: skip
def test_every_kind_that_names_channels_is_held_to_the_detectors(
    kind: str, changes: dict[str, Any], where: str
) -> None:
    assert checked(kind, **changes) == [
        f"{kind}.{where} = 'CO': detector:D-017 has no such channel; it has H2S"
    ]


def test_a_description_may_bring_new_channels() -> None:
    channels = copy.deepcopy(KINDS["detector"].EXAMPLE["channels"])
    channels[0]["name"] = "CO"
    assert checked("detector", channels=channels) == []


@pytest.mark.parametrize(
    ("reading", "believed"), [("100", True), ("200", True), ("200.1", False), ("20000", False)]
)
def test_a_reading_far_above_the_channels_range_is_taken_for_another_unit(
    reading: str, believed: bool
) -> None:
    said = [
        (
            f"bump-test.clean_air[0].reading = '{reading}': far above the range of H2S, which ends at "
            "100 ppm; is it in another unit?"
        )
    ]
    found = checked("bump-test", clean_air=[{"channel": "H2S", "reading": reading, "right": "no"}])
    assert found == ([] if believed else said)


def test_several_faults_are_said_at_once() -> None:
    found = checked(
        "alarm-in-use",
        without=("person:P-07", "site:north-works"),
        at="2026-03-03T00:00:00.000Z",
        channel="CO",
    )
    assert [line.partition(" ")[0] for line in found] == [
        "alarm-in-use.by", "alarm-in-use.where", "alarm-in-use.at", "alarm-in-use.channel",
    ]  # fmt: skip


def test_a_replacement_is_held_to_clock_and_channels() -> None:
    replacement = {**KINDS["alarm-in-use"].EXAMPLE, "at": "2026-03-03T00:00:00.000Z", "channel": "CO"}
    found = checked("correction", how="replace", replacement=replacement)
    assert [line.partition(" ")[0] for line in found] == [
        "correction.replacement.at", "correction.replacement.channel",
    ]  # fmt: skip


# --- Remarks ------------------------------------------------------------------------------------------------


def test_a_zone_that_is_not_the_sites_is_said_and_not_refused() -> None:
    assert checked("gauge-read", zone="Europe/Madrid") == []
    body, _ = read_body({**KINDS["gauge-read"].EXAMPLE, "zone": "Europe/Madrid"})
    assert body is not None
    assert [str(remark) for remark in remarks(body, describe=STATES.get)] == [
        (
            "gauge-read.zone = 'Europe/Madrid': not the zone of site:north-works, which is "
            "Europe/Lisbon; the time itself is not in doubt"
        )
    ]


@pytest.mark.parametrize("changes", [{}, {"where": None}, {"where": "site:unknown", "zone": "UTC"}])
def test_nothing_is_remarked_where_nothing_is_odd_or_known(changes: dict[str, Any]) -> None:
    body, _ = read_body({**KINDS["gauge-read"].EXAMPLE, **changes})
    assert body is not None
    assert remarks(body, describe=STATES.get) == ()


def test_now_is_the_callers() -> None:
    body, _ = read_body(KINDS["gauge-read"].EXAMPLE)
    assert body is not None
    earlier = Ms(ms_of("2026-03-02T06:41:00.000Z") - 3 * MINUTE)
    found = check_against(body, now=earlier, known=lambda subject: True, describe=lambda subject: None)
    assert [fault.where for fault in found] == ["gauge-read.at"]
