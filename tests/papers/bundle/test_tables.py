"""The tables of a bundle: each kind in its table, corrected entries beside what corrects them."""

from datetime import date
from typing import Any

import pytest

from pitbird.fleet.kinds import KINDS
from pitbird.papers.bundle.tables import (
    OF_THE_PERIOD,
    TABLES,
    WITHHELD,
    Adoption,
    Corrected,
    Desk,
    Entry,
    rows,
    rules_rows,
)
from tests.bodies import at, ms


def entry(index: int, kind: str, /, recorded: str = "", **fields: Any) -> Entry:
    body = KINDS[kind].model_validate({**KINDS[kind].EXAMPLE, **fields}).as_body()
    return Entry(index, recorded or body["at"], body)


def told(one: Entry, desk: Desk | None = None) -> dict[str, list[dict[str, Any]]]:
    found: dict[str, list[dict[str, Any]]] = {}
    for table, row in rows(one, desk or Desk()):
        found.setdefault(table, []).append(row)
    return found


@pytest.mark.parametrize("kind", sorted(set(KINDS) - {"rules-adopted"}))
def test_every_kind_comes_into_a_table_with_that_tables_columns_only(kind: str) -> None:
    found = told(entry(3, kind))
    assert found
    for table, listed in found.items():
        for row in listed:
            assert set(row) <= set(TABLES[table][1]), (table, set(row) - set(TABLES[table][1]))


def test_an_entry_of_a_kind_that_is_not_known_is_listed_under_other() -> None:
    body = {"kind": "weighed", "v": 1, "id": "x", "at": at("06:00"), "about": ["cylinder:C-1"]}
    (row,) = told(Entry(9, at("06:00"), body))["other"]
    assert (row["kind"], row["about"], row["zone"]) == ("weighed", "cylinder:C-1", "UTC")


def test_a_test_says_what_was_not_reached_even_where_it_was_written_as_passed() -> None:
    gas = {**KINDS["bump-test"].EXAMPLE["applications"][0]}
    gas["channels"] = [
        {"channel": "H2S", "reached": "no"},
        {"channel": "CO", "reached": "yes", "after_s": "9"},
    ]
    (row,) = told(entry(3, "bump-test", applications=[gas]))["tests"]
    assert row["outcome_as_written"] == "passed"
    assert row["channels_not_reached"] == "H2S"
    assert row["channels"] == "H2S NOT reached; CO reached after 9 s"
    assert row["gas_on_s"] == 22


def test_times_stand_in_utc_and_on_the_clock_of_the_site() -> None:
    # IANA time zone database: Europe/Lisbon keeps summer time, UTC+1, in July.
    (row,) = told(entry(3, "bump-test", at="2026-07-02T06:41:00.000Z"))["tests"]
    assert row["at_utc"] == "2026-07-02T06:41:00.000Z"
    assert row["at_local"] == "2026-07-02T07:41:00+01:00"


def test_a_spoiled_attempt_stands_among_the_tests_and_by_itself() -> None:
    found = told(entry(3, "bump-test", outcome="spoiled", spoiled_because="hood-slipped"))
    assert found["tests"] == found["spoiled"]
    assert found["spoiled"][0]["spoiled_because"] == "hood-slipped"


def test_what_happened_outside_the_period_is_left_out_and_what_things_are_is_not() -> None:
    desk = Desk(first=date(2026, 3, 3), last=date(2026, 3, 9))
    assert told(entry(3, "bump-test"), desk) == {}
    assert "cylinders" in told(entry(4, "cylinder"), desk)
    assert "trainings" in told(entry(5, "training"), desk)
    assert {"tests", "corrections"} <= OF_THE_PERIOD


@pytest.mark.parametrize(
    ("first", "last", "inside"),
    [("2026-03-03", None, True), ("2026-03-04", None, False), (None, "2026-03-02", False)],
)
def test_the_days_of_the_period_are_those_of_the_sites_clock(
    first: str | None, last: str | None, inside: bool
) -> None:
    # Half past eleven at night in UTC is the next day in Finland (UTC+2 in March).
    late = entry(3, "bump-test", at="2026-03-02T23:30:00.000Z", zone="Europe/Helsinki")
    desk = Desk(
        first=date.fromisoformat(first) if first else None, last=date.fromisoformat(last) if last else None
    )
    assert ("tests" in told(late, desk)) == inside


def test_what_was_written_late_is_listed_with_the_minutes() -> None:
    punctual = entry(3, "bump-test", recorded="2026-03-02T06:56:00.000Z")
    assert "late" not in told(punctual)
    (row,) = told(entry(3, "bump-test", recorded="2026-03-02T08:11:00.000Z"))["late"]
    assert row["minutes"] == 90


def corrected(how: str, replacement: dict[str, Any] | None) -> tuple[Entry, Entry, Desk]:
    original = entry(3, "bump-test")
    fields: dict[str, Any] = {"how": how, "corrects": original.body["id"], "of_about": original.body["about"]}
    if replacement is not None:
        fields["replacement"] = {**original.body, **replacement}
    else:
        fields["replacement"] = None
    fields["about"] = ()
    correction = entry(8, "correction", **fields)
    desk = Desk(
        corrections={original.body["id"]: [Corrected(8, how == "void")]},
        originals={original.body["id"]: original},
    )
    return original, correction, desk


def test_a_voided_entry_stays_in_its_table_and_says_so() -> None:
    original, correction, desk = corrected("void", None)
    assert told(original, desk)["tests"][0]["stands"] == "no: voided by entry 8"
    found = told(correction, desk)
    assert "tests" not in found
    assert found["corrections"][0]["how"] == "void"


def test_a_replaced_entry_stands_side_by_side_with_what_replaced_it() -> None:
    original, correction, desk = corrected("replace", {"outcome": "failed", "temperature_c": "11"})
    assert told(original, desk)["tests"][0]["stands"] == "no: replaced by entry 8"
    found = told(correction, desk)
    assert found["tests"][0]["outcome_as_written"] == "failed"
    assert (found["tests"][0]["instead_of"], found["tests"][0]["stands"]) == (3, "yes")
    changed = {row["field"]: (row["original_value"], row["corrected_value"]) for row in found["corrections"]}
    assert changed == {"outcome": ("passed", "failed"), "temperature_c": ("12", "11")}


def test_a_correction_that_was_corrected_again_does_not_stand() -> None:
    original, correction, desk = corrected("replace", {"outcome": "failed"})
    again = Desk(
        corrections={original.body["id"]: [Corrected(8, False), Corrected(9, True)]},
        originals=desk.originals,
    )
    assert told(original, again)["tests"][0]["stands"] == "no: voided by entry 9"
    assert told(correction, again)["tests"][0]["stands"] == "no: entry 9 corrects the same entry again"


def test_a_correction_without_its_original_here_says_so_and_does_not_say_that_it_stands() -> None:
    _original, correction, desk = corrected("replace", {"temperature_c": "11"})
    found = told(correction, Desk(corrections=desk.corrections))
    assert found["corrections"][0]["original_kind"] == "not in this bundle"
    assert found["tests"][0]["stands"].startswith("cannot be told here")


def test_a_pass_dated_after_it_was_recorded_does_not_stand_and_a_fail_does() -> None:
    for outcome, stands in (("passed", "no: dated after"), ("failed", "yes")):
        early = entry(3, "bump-test", outcome=outcome, recorded="2026-03-02T06:00:00.000Z")
        assert told(early)["tests"][0]["stands"].startswith(stands)


def test_texts_are_shown_where_they_are_open_and_told_as_withheld_where_not() -> None:
    body = entry(2, "person").body
    open_one = Entry(2, body["at"], body, {body["name"]: "Rui Marrel"})
    assert told(open_one)["people"][0]["person_name"] == "Rui Marrel"
    assert told(Entry(2, body["at"], body))["people"][0]["person_name"] == WITHHELD


def test_rules_say_from_when_to_when_they_held_and_what_changed() -> None:
    adopted = entry(4, "rules-adopted")
    site = adopted.body["sites"][0]
    (row,) = rules_rows(
        [
            Adoption(
                adopted, site, "rules:strict", 3, ms("06:00"), ms("09:00"), ["Rule a is gone; it was: b."]
            )
        ],
        Desk(complete=frozenset({site})),
    )
    assert set(row) <= set(TABLES["rules"][1])
    assert (row["in_force_from_utc"], row["in_force_to_utc"]) == (at("06:00"), at("09:00"))
    assert (row["changes"], row["all_here"], row["version"]) == ("Rule a is gone; it was: b.", "yes", 3)
