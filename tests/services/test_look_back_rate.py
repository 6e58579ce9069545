"""The rate of the book's own record, for a look-back: the upper limit, of the worst kind that failed."""

from __future__ import annotations

import math

import pytest

from pitbird.fleet.look_back import Part
from pitbird.services.look_back_rate import evidence_rate
from pitbird.services.writing import Actor, write
from tests.bodies import at, bump, ms

D = "detector:D-017"
CO = Part("channel", "CO")


def show_gas(fleet: Actor, day: str, **fields: str | None) -> None:
    made = bump(at("07:00", day), by="person:P-07", **fields)
    made["applications"][0].pop("regulator", None)
    write(made, fleet, now=ms("07:01", day))


def test_without_a_failure_it_is_the_limit_of_the_time_known_good(fleet: Actor) -> None:
    """Garwood (1936), Biometrika 28, 437: no event in t gives the one-sided 95 % limit -ln(0.05)/t. The
    calibration of 05:00 on 2 March and the test of 07:00 on 12 March are 10 days and 2 hours apart."""
    show_gas(fleet, "2026-03-12")
    assert evidence_rate(D, [CO]) == pytest.approx(-math.log(0.05) / (10 + 2 / 24), rel=1e-3)


def test_of_several_channels_it_is_the_highest(fleet: Actor) -> None:
    show_gas(fleet, "2026-03-12")
    show_gas(fleet, "2026-03-13", missed="H2S")
    co, both = evidence_rate(D, [CO]), evidence_rate(D, [CO, Part("channel", "H2S")])
    assert co is not None
    assert both is not None
    assert both > co
    assert both == evidence_rate(D, [Part("channel", "H2S")])


def test_of_a_signal_and_of_what_was_never_seen_to_live_there_is_none(fleet: Actor) -> None:
    assert evidence_rate(D, [Part("signal", "sound")]) is None
    assert evidence_rate("detector:D-018", [CO]) is None
