"""The gate on the command line: its table, one detector's findings, its exit status, times and knowledge."""

import json
import re
from pathlib import Path

import pytest

from tests.cli.conftest import PASSES, THINGS, Pitbird


def test_a_detector_without_a_test_may_not_go_out_and_the_status_says_so(begun: Pitbird) -> None:
    answer = begun("gate D-017")
    assert answer.status == 1
    assert answer.out.startswith("[ D-017 NOT YET. No passed bump test is on record.")
    assert "source: " in answer.out


def test_a_passed_test_lets_it_out_until_the_working_day_ends(begun: Pitbird) -> None:
    assert begun(PASSES).status == 0
    answer = begun("gate D-017")
    assert answer.status == 0, answer.out
    assert re.match(r"\[ D-017 MAY GO OUT until \d{4}-\d\d-\d\d 04:00 [+]0[01]:00", answer.out)


def test_the_table_has_status_0_and_one_line_for_each_detector(begun: Pitbird) -> None:
    answer = begun("gate")
    assert answer.status == 0
    assert "0 may go out, 1 not yet, 0 cannot tell, 0 out of service" in answer.out
    assert re.search(r"(?m)^D-017 +not yet .*Do a bump test\.$", answer.out)


def test_json_holds_every_finding_with_its_source(begun: Pitbird) -> None:
    begun(PASSES)
    answer = begun("gate D-017 --json")
    decision = json.loads(answer.out)
    assert decision["detector"] == "detector:D-017"
    assert decision["verdict"] == "may-go-out"
    assert decision["until"].endswith("Z")
    assert len(decision["findings"]) > 10
    for finding in decision["findings"]:
        assert set(finding) == {
            "rule", "predicate", "outcome", "code", "strength", "sentence", "remedy", "remedy_words", "facts",
            "entries", "until", "source", "known", "decisive",
        }  # fmt: skip
        assert finding["sentence"]
    (whole,) = json.loads(begun("gate --json --all").out)
    assert whole["detector"] == "detector:D-017"
    assert whole["findings"] == decision["findings"]


def test_json_of_the_fleet_holds_what_decided_and_what_warns(begun: Pitbird) -> None:
    (said,) = json.loads(begun("gate --json").out)
    (whole,) = json.loads(begun("gate --json --all").out)
    assert (said["detector"], said["verdict"]) == ("detector:D-017", "not-yet")
    assert said["findings"][0]["decisive"] is True
    assert said["findings"] == [
        each
        for each in whole["findings"]
        if each["decisive"] or (each["strength"] == "warns" and each["outcome"] in ("not-met", "unknown"))
    ]
    assert len(whole["findings"]) > 10 > len(said["findings"])


def test_the_decisive_finding_is_marked(begun: Pitbird) -> None:
    findings = json.loads(begun("gate D-017 --json").out)["findings"]
    assert findings[0]["decisive"] is True
    assert findings[0]["remedy"] == "test"


def test_an_unknown_detector_names_those_near_it(begun: Pitbird) -> None:
    refused = begun("gate D-071")
    assert (refused.status, refused.out) == (2, "")
    assert refused.faults == ["detector: the book knows no detector 'D-071'; did you mean D-017?"]


def test_every_fault_in_a_question_is_named_at_once(begun: Pitbird) -> None:
    refused = begun("gate D-071 --site nort-works --wearer P-70 --at yesterday --as-known-at 999")
    assert refused.status == 2
    assert [line.partition(":")[0] for line in refused.faults] == [
        "detector", "site", "person", "at", "as-known-at",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("at", "says"),
    [
        ("2026-03-02T06:40", "has no zone"),
        ("noon", "is not a time"),
    ],
)
def test_a_time_without_a_zone_is_refused_where_no_site_is_given(begun: Pitbird, at: str, says: str) -> None:
    refused = begun(f"gate --at {at}")
    assert refused.status == 2
    assert says in refused.err


def test_with_a_site_a_time_is_read_on_its_clock(begun: Pitbird) -> None:
    # Europe/Lisbon keeps +01:00 in summer (IANA time zone database).
    answer = begun("gate --site north-works --at 2030-07-01T06:40")
    assert answer.status == 0
    assert "2030-07-01 06:40 +01:00" in answer.out


def test_as_known_before_the_test_it_was_not_yet(begun: Pitbird) -> None:
    begun(PASSES)
    assert begun("gate D-017").status == 0
    assert begun("gate D-017 --as-known-at 9").status == 1
    assert begun("gate D-017 --as-known-at 10").status == 0


def test_what_will_be_known_in_the_future_is_not_known(begun: Pitbird) -> None:
    refused = begun("gate --as-known-at 2090-01-01T00:00Z")
    assert refused.status == 2
    assert "lies in the future" in refused.err


def test_a_site_that_is_not_the_detectors_is_refused(begun: Pitbird) -> None:
    begun(
        "write -",
        '{"kind": "site", "site": "site:south", "name": "South", "site_zone": "Europe/Lisbon"}',
    )
    refused = begun("gate D-017 --site south")
    assert refused.status == 2
    assert "D-017 belongs to north-works, not to south" in refused.err


LATE = """
id = "late"
version = 3
title = "Gas within thirty days"
[[rule]]
id = "gas"
predicate = "gas-test-within-days"
strength = "stops"
source = "common practice"
known = "common-practice"
[rule.parameters]
days = 30
"""


def test_under_other_rules_todays_answer_would_be_and_the_status_stays_that_of_the_rules_in_force(
    begun: Pitbird, tmp_path: Path
) -> None:
    file = tmp_path / "late.toml"
    file.write_text(LATE)
    # A drop after the test ends the pass under the strict rules; the thirty-day rule alone does not ask.
    begun(PASSES)
    begun("write -", json.dumps({"kind": "happened", "detector": "detector:D-017", "what": "drop"}))
    assert begun("gate D-017").status == 1
    table = begun(f"gate --rules {file}")
    assert table.status == 0
    assert "Under late version 3, of 1 detector: 1 would change, these first" in table.out
    assert re.search(r"(?m)^D-017 +not yet +may go out +20", table.out)
    assert "would no longer stop: " in table.out
    assert "Nothing of this counts as an answer" in table.out
    one = begun(f"gate D-017 --rules {file}")
    assert one.status == 1, "it may not go out, whatever other rules would say"
    told = json.loads(begun(f"gate --rules {file} --json").out)
    assert told["counts_as_an_answer"] is False
    (row,) = told["detectors"]
    assert (row["now"]["verdict"], row["would"]["verdict"]) == ("not-yet", "may-go-out")
    assert row["changes"] is True


def test_a_question_under_other_rules_names_every_fault_at_once(begun: Pitbird) -> None:
    refused = begun("gate D-071 --rules stict --at 2026-03-02T06:40Z --as-known-at 3 --all --wearer P-70")
    assert (refused.status, refused.out) == (2, "")
    assert [line.partition(":")[0] for line in refused.faults] == [
        "at", "as-known-at", "all", "rules", "detector", "person",
    ]  # fmt: skip


def test_what_is_loud_stands_before_the_reason(begun: Pitbird) -> None:
    from pitbird.fleet.times import DAY, HOUR, Ms, text_of
    from pitbird.services import clock

    issue = {
        "kind": "issued-untested", "detector": "detector:D-017", "to": "person:P-07",
        "authority": "person:K-1", "until": text_of(Ms(clock.now() + HOUR)), "reason": "Sewage rising",
    }  # fmt: skip
    assert "ISSUED UNTESTED" not in begun("gate").out
    assert begun("write -", json.dumps(issue)).status == 0
    table = begun("gate").out
    assert re.search(
        r"(?m)^D-017 +not yet +ISSUED UNTESTED to P-07 until .* on the authority of K-1\. No ", table
    )
    assert begun("gate D-017").out.startswith("[ D-017 NOT YET. ISSUED UNTESTED to P-07 until ")
    ends = text_of(Ms(clock.now() + 10 * DAY))[:10]
    fixed = {**THINGS[1], "life_ends": ends}
    assert begun("write -", json.dumps(fixed)).status == 0
    assert f"Its life ends on {ends}." in begun("gate").out
