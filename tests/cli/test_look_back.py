"""Look-back on the command line: the working list, a failure, gas, a tester; every fault at once."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from pitbird.fleet.times import MINUTE, Ms, text_of
from pitbird.services import clock
from tests.cli.conftest import PASSES, Pitbird


@pytest.fixture
def failed(begun: Pitbird) -> Pitbird:
    """A pass, a use under a permit, and a fail on H2S, over the last hour."""
    now = clock.now()

    def at(minutes: int) -> str:
        return text_of(Ms(now - minutes * MINUTE))

    lines = [
        {"kind": "handed-out", "detector": "detector:D-017", "to": "person:P-07", "from_store": True,
         "permit": "PTW-1184", "at": at(40)},
        {"kind": "handed-back", "detector": "detector:D-017", "at": at(20)},
    ]  # fmt: skip
    passes = begun(f"{PASSES} --gas-on {at(45)}")
    assert passes.status == 0, passes.err
    assert begun("write -", "\n".join(map(json.dumps, lines))).status == 0
    fails = PASSES.replace("--reached all", "--reached CO --not-reached H2S")
    assert begun(f"{fails} --gas-on {at(10)}").status == 1
    return begun


def test_a_detector_means_its_newest_failure_and_nothing_is_cleared(failed: Pitbird) -> None:
    told = failed("look-back D-017")
    assert told.status == 0
    for words in ("H2S: failed a bump test", "last shown to be good", "PTW-1184", "P-07", "order",
                  "Nobody has decided yet", "Nothing here clears a use."):  # fmt: skip
        assert words in told.out
    assert "%" not in told.out


def test_with_a_rate_the_chance_is_told_in_json_on_both_clocks(failed: Pitbird) -> None:
    """At a rate of 0 the share of the time: taken back 20 minutes ago, good 45 and failed 10 minutes ago."""
    told = json.loads(failed("look-back D-017 --rate 0 --json").out)
    (group,) = told["groups"]
    assert group["parts"] == [{"sort": "channel", "name": "H2S"}]
    (use,) = group["uses"]
    assert use["probability_failed_by_end"] == pytest.approx(25 / 35, abs=0.02)
    assert use["probability_failed_by_end_in_use"] == 1.0
    assert (use["permit"], use["wearer"], use["where"]) == ("PTW-1184", "person:P-07", "site:north-works")
    assert told["clears"] == "nothing"
    assert "71." in failed("look-back D-017 --rate 0").out


def test_the_list_names_what_awaits_a_decision_until_one_is_written(
    failed: Pitbird, size: Callable[[], int]
) -> None:
    listed = json.loads(failed("look-back --json").out)["awaiting"]
    assert [(each["subject"], each["uses"]) for each in listed] == [("detector:D-017", 1)]
    assert "bump test: H2S" in failed("look-back --site north-works").out
    index = listed[0]["index"]
    assert "PTW-1184" in failed(f"look-back {index}").out
    decision = {
        "kind": "look-back", "of": ["detector:D-017"], "failed": listed[0]["entry"], "book_size": size(),
        "assessed_by": "person:K-1", "outcome": "work-affected", "done": "Wearer asked.",
    }  # fmt: skip
    assert failed("write -", json.dumps(decision)).status == 0
    assert "Nothing awaits a decision" in failed("look-back").out
    assert "work-affected, assessed by K-1" in failed(f"look-back {index}").out


def test_a_cylinder_and_a_person_lead_to_the_uses_that_rested_on_them(failed: Pitbird) -> None:
    gas = json.loads(failed("look-back C-112 --json").out)
    assert (gas["sort"], len(gas["rested"]) > 0) == ("gas", True)
    assert "PTW-1184" in failed("look-back cylinder:C-112 --lot").out
    assert "PTW-1184" in failed("look-back P-07").out
    nothing = json.loads(failed("look-back P-07 --since 2001-01-01 --until 2001-01-02 --json").out)
    assert nothing["rested"] == []
    # A day on the clock of Europe/Lisbon in winter (UTC), the last one included.
    assert (nothing["since"], nothing["until"]) == ("2001-01-01T00:00:00.000Z", "2001-01-03T00:00:00.000Z")


@pytest.mark.parametrize(
    ("line", "fields"),
    [
        ("look-back X-9", ["what"]),
        ("look-back D-017 --since soon --lot --site nowhere", ["site", "site", "since", "lot"]),
        ("look-back C-112 --since soon --until later --rate 1", ["rate", "since", "until"]),
        ("look-back C-112 --since 2026-03-02 --until 2026-03-01", ["since"]),
        ("look-back --rate 1 --lot", ["lot", "rate"]),
        ("look-back site:north-works", ["what"]),
        ("look-back 99999", ["entry"]),
        ("look-back P-07 --lot", ["lot"]),
    ],
)
def test_every_fault_is_named_at_once(failed: Pitbird, line: str, fields: list[str]) -> None:
    refused = failed(line)
    assert (refused.status, refused.out) == (2, "")
    assert [each.partition(":")[0] for each in refused.faults] == fields


def test_what_shows_no_failure_and_a_rate_below_none_are_refused(failed: Pitbird) -> None:
    assert "no test and no calibration" in failed("look-back 0").err
    assert "must be a number from 0" in failed("look-back D-017 --rate -1").err


def test_the_rate_may_be_that_of_the_books_own_record(failed: Pitbird) -> None:
    from pitbird.services.look_back import after_failure
    from pitbird.services.look_back_rate import evidence_rate

    told = json.loads(failed("look-back D-017 --rate record --json").out)
    looked = after_failure("detector:D-017")
    parts = [part for group in looked.groups for part in group.parts]
    assert told["rate_per_day"] == evidence_rate("detector:D-017", parts)
    wrong = failed("look-back D-017 --rate plenty")
    assert (wrong.status, "neither a number of failures in one sensor-year nor 'record'" in wrong.err) == (
        2,
        True,
    )


def test_somebody_untrained_is_listed_and_looked_back_from(begun: Pitbird) -> None:
    now = clock.now()
    person = {"kind": "person", "person": "person:P-09", "name": "Teo Branco", "home": "site:north-works"}
    assert begun("write -", json.dumps(person)).status == 0
    passes = begun(f"{PASSES} --gas-on {text_of(Ms(now - 45 * MINUTE))}".replace("--by P-07", "--by P-09"))
    assert passes.status == 0, passes.err
    listed = begun("look-back")
    assert "tested without valid training, 1 time: never-trained" in listed.out
    (line,) = json.loads(begun("look-back --json").out)["awaiting"]
    assert (line["sort"], line["subject"], line["untrained"]) == ("tester", "person:P-09", [line["entry"]])
    told = begun("look-back P-09 --untrained")
    assert "tests by P-09 without valid training?" in told.out
    assert "No training of P-09 is on record for: bump test." in told.out
    (test,) = json.loads(begun("look-back P-09 --untrained --json").out)["untrained"]
    assert (test["entry"], test["because"], test["rule"]) == (
        line["entry"],
        "never-trained",
        "tester-trained",
    )
    assert begun("look-back D-017 --untrained").faults[0].startswith("untrained: stands with a person only")


def test_a_lot_is_told_as_a_graph(failed: Pitbird) -> None:
    told = json.loads(failed("look-back C-112 --lot --json").out)
    (each,) = told["cylinders"]
    assert (each["cylinder"], each["detectors"]) == ("cylinder:C-112", ["detector:D-017"])
    assert each["trials"] == told["rested"][0]["trials"]
    assert each["uses"] == [use["entry"] for use in told["rested"][0]["uses"]]
