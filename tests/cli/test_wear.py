"""``pitbird wear``: the same answer as the page."""

import json

from tests.cli.conftest import Pitbird


def test_it_says_that_nothing_can_be_told_and_what_that_does_not_mean(begun: Pitbird) -> None:
    done = begun("wear")
    assert done.status == 0, done.err
    assert "None that calibrations could tell of." in done.out
    assert "only gas shows that" in done.out


def test_one_detector_is_told_by_channel_and_as_json(begun: Pitbird) -> None:
    assert "alarm too late above" in begun("wear D-017").out
    told = json.loads(begun("wear D-017 --json").out)
    assert {each["channel"] for each in told["creep"]} == {"CO", "H2S"}
    assert all(each["months"] == [] for each in told["creep"])


def test_what_the_book_does_not_know_is_named(begun: Pitbird) -> None:
    done = begun("wear D-71 --site nowhere")
    assert done.status == 2
    assert "D-71" in done.err
    assert "nowhere" in done.err
