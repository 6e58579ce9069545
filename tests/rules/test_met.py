"""What is kept of questions about equal parts of states: by which values they are, and only so much."""

from __future__ import annotations

import gc

import pytest

from pitbird.fleet.state import AlarmFact, ChannelFact, FailedOn, ShownFact
from pitbird.fleet.times import Ms
from pitbird.rules.predicates import met as module
from pitbird.rules.predicates.met import Met, met, once


def channel(name: str, *shown_by: str) -> ChannelFact:
    alarms = tuple(AlarmFact(str(place), "10", "rising", how) for place, how in enumerate(shown_by))
    return ChannelFact(name, "methane", "catalytic", "pct_lfl", "100", "0", "2", alarms)


CHANNELS = (channel("CH4", "gas", "gas"), channel("CO", "self-check", "gas"), channel("PID", "none"))


def test_the_same_values_are_worked_out_once_and_equal_ones_anew() -> None:
    worked: list[FailedOn] = []

    @once
    def remembered(failure: FailedOn) -> int:
        worked.append(failure)
        return failure.in_a_row

    first, equal = (FailedOn("e-1", Ms(1), "detector:D-1", 3, 2) for _ in range(2))
    assert [remembered(first), remembered(first), remembered(equal)] == [3, 3, 3]
    assert [each is first for each in worked] == [True, False]


def test_an_answer_is_never_that_of_a_value_that_has_gone() -> None:
    @once
    def which(values: tuple[int, ...]) -> int:
        return values[0]

    for number in range(2_000):  # tuples let go of at once are made again at the same place in memory
        assert which((number, number + 1)) == number
        if number % 500 == 0:
            gc.collect()


def test_what_is_kept_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "ANSWERS_KEPT", 3)

    @once
    def which(values: tuple[int, ...]) -> int:
        return values[0]

    for number in range(10):
        assert which((number,)) == number
        assert len(which._kept) <= 3


def test_what_the_channels_met_is_that_of_those_that_gas_must_show() -> None:
    shown = (
        ShownFact("CH4", True, "cylinder:C-1", 22.0),
        ShownFact("CH4", False, "cylinder:C-2", 30.0),
        ShownFact("PID", True, "cylinder:C-3", 5.0),
    )
    found = met(CHANNELS, shown)
    assert found.asked == ("CH4", "CO")
    assert found.absent == ("CO",)
    assert [(each.name, one.cylinder) for each, one in found.shown] == [
        ("CH4", "cylinder:C-1"),
        ("CH4", "cylinder:C-2"),
    ]
    assert found.cylinders == ("cylinder:C-1", "cylinder:C-2")
    assert found.on == {"CH4": 30.0, "PID": 5.0}
    assert found.reached == {"CH4", "PID"}
    assert found.missed == ("CH4",)
    assert met(CHANNELS, shown) is found


def test_nothing_shown_leaves_every_channel_absent() -> None:
    found = Met(CHANNELS, ())
    assert (found.absent, found.shown, found.cylinders) == (("CH4", "CO"), (), ())
