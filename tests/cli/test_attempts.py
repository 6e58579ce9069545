"""Attempts are counted on the command line."""

import json

from tests.cli.conftest import PASSES, Pitbird


def test_attempts_are_counted_and_said_to_be_no_verdict(begun: Pitbird) -> None:
    begun(PASSES)
    begun("test D-017 --cylinder C-112 --spoiled hood-slipped --by P-07")
    told = begun("attempts")
    assert told.status == 0
    assert "no verdict on people" in told.out
    assert "hood-slipped 1" in told.out
    counted = json.loads(begun("attempts --json --days 1").out)
    assert counted["people"] == [
        {
            "subject": "person:P-07",
            "outcomes": {"passed": 1, "spoiled": 1},
            "reasons": {"hood-slipped": 1},
        }
    ]


def test_an_unknown_site_is_refused(begun: Pitbird) -> None:
    assert begun("attempts --site nowhere").status == 2
