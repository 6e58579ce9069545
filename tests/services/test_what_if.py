"""Today's answers under another rule set, as if it had been in force all along."""

from __future__ import annotations

import pytest

from pitbird.rules.decision import Verdict
from pitbird.rules.loading import load_shipped
from pitbird.services.gate import UnknownSubject, gate
from pitbird.services.what_if import what_if
from pitbird.services.writing import Actor, write
from tests.bodies import at, bump, ms

NEXT_DAY = ms("07:00", "2026-03-03")


def test_yesterdays_pass_would_do_under_rules_that_ask_for_gas_every_four_weeks(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    answer = what_if(load_shipped("emergency-services"), now=NEXT_DAY)
    assert answer.counts() == ((Verdict.NOT_YET, Verdict.MAY_GO_OUT, 1),)
    assert [row.state.subject for row in answer.changed] == ["detector:D-017"]
    assert gate(now=NEXT_DAY).count(Verdict.MAY_GO_OUT) == 0, "the answer itself stays what it is"


def test_under_the_rules_in_force_nothing_changes(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    answer = what_if(load_shipped("strict"), now=ms("08:00"), site="site:north-works")
    assert answer.changed == ()
    assert len(answer.rows) == 1


def test_an_unknown_site_is_not_answered(fleet: Actor) -> None:
    with pytest.raises(UnknownSubject):
        what_if(load_shipped("strict"), now=ms("08:00"), site="site:nowhere")


def test_one_detector_and_a_wearer_can_be_asked_for(fleet: Actor) -> None:
    write(bump(at("07:00"), by="person:P-07"), fleet, now=ms("07:01"))
    strict = load_shipped("strict")
    answer = what_if(strict, now=ms("08:00"), detector="detector:D-017", wearer="person:P-07")
    assert [row.now.wearer for row in answer.rows] == ["person:P-07"]
    assert [row.then.wearer for row in answer.rows] == ["person:P-07"]
    with pytest.raises(UnknownSubject):
        what_if(strict, now=ms("08:00"), detector="detector:D-404")
