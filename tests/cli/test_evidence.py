"""The record of the fleet on the command line."""

import json

import pytest

from tests.cli.conftest import PASSES, Pitbird


def test_the_record_is_told_with_its_caution(begun: Pitbird) -> None:
    begun(PASSES)
    told = begun("evidence")
    assert told.status == 0
    assert "hydrogen sulfide, electrochemical" in told.out
    assert "never loosens the instrument's manual" in told.out


def test_as_json_it_has_every_interval_with_its_limits(begun: Pitbird) -> None:
    begun(PASSES)
    told = json.loads(begun("evidence --json --by type --confidence 0.9").out)
    assert (told["by"], told["confidence"], told["detectors"]) == ("type", 0.9, 1)
    (record,) = told["records"]
    assert record["group"] == "Heron Works Quartet P"
    assert record["failures"] == 0
    assert [each["interval_days"] for each in record["undetected"]][:3] == [1, 2, 7]
    assert all(each["low"] == 0 < each["high"] <= 1 for each in record["undetected"])


def test_a_word_that_is_none_is_refused_with_all_the_others(begun: Pitbird) -> None:
    refused = begun("evidence --by chanel --clock calender --site nowhere")
    assert refused.status == 2
    assert refused.out == ""
    assert (
        "--by chanel: write channel or type or site or age or adjusted; did you mean channel?" in refused.err
    )
    assert "--clock calender" in refused.err
    assert "nowhere" in refused.err


def test_a_book_without_tests_says_so(begun: Pitbird) -> None:
    told = begun("evidence --clock handed-out")
    assert told.status == 0
    assert "never loosens" in told.out


@pytest.mark.parametrize("target", ["0", "100"])
def test_a_target_that_says_nothing_is_refused(begun: Pitbird, target: str) -> None:
    refused = begun(f"evidence --target {target}")
    assert (refused.status, refused.out) == (2, "")
    assert f"--target {target}: more than 0 and less than 100" in refused.err


def test_both_clocks_of_age_say_what_they_count_from(begun: Pitbird) -> None:
    begun(PASSES)
    assert "not since it was new" in begun("evidence --by adjusted").out
    told = begun("evidence --by age").out
    assert "Age since a sensor was put in" in told
    assert "not-known" in told


def test_a_prevalence_is_taken_into_account_with_its_weight(begun: Pitbird) -> None:
    begun(PASSES)
    asked = "evidence --one-in 2500 --mean-untested-days 30 --worth-failures 0.5"
    told = begun(asked)
    assert told.status == 0
    assert "user's own assumption" in told.out
    assert "its share of the time" in told.out
    (record, *_) = json.loads(begun(f"{asked} --json").out)["records"]
    assert 0.99 < record["with_prevalence"]["weight_fraction"] <= 1
    assert record["rate_high"] == json.loads(begun("evidence --json").out)["records"][0]["rate_high"]
    assert json.loads(begun("evidence --json").out)["records"][0]["with_prevalence"] is None


def test_a_prevalence_without_its_time_or_with_silly_numbers_is_refused(begun: Pitbird) -> None:
    refused = begun("evidence --one-in 2,500 --worth-failures 0")
    assert (refused.status, refused.out) == (2, "")
    lines = refused.err.splitlines()
    assert lines[0].startswith("--one-in 2,500: write it without a mark")
    assert lines[1].startswith("--mean-untested-days: missing")
    assert lines[2].startswith("--worth-failures 0: must be 0.01 or more")
