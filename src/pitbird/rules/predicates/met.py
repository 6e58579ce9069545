"""What the channels of a detector met in a test, worked out once for a type of detector and a sort of test.

Fleets are of few types, and most tests are alike: equal parts of states are one value (see
``pitbird.services.decoding``). What follows from such parts alone is kept by which values they are.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final, Generic, TypeVar

from pitbird.fleet.state import ChannelFact, ShownFact

T = TypeVar("T")

#: So many answers are kept of each question.
ANSWERS_KEPT: Final = 16_384


class once(Generic[T]):  # noqa: N801 - a decorator
    """A pure function of unchanging values, whose answers are kept by the identity of what it was given.

    Looking frozen values up by equality hashes all that is in them, which takes longer than most answers.
    The values are held on to with the answer, so that an ``id()`` stays that of the same value. Values that
    are equal but not the same are worked out anew. Give it no numbers or texts made on the spot.
    """

    def __init__(self, work: Callable[..., T]) -> None:
        self._work = work
        self._kept: dict[tuple[int, ...], tuple[tuple[Any, ...], T]] = {}
        self.__doc__ = work.__doc__

    def __call__(self, *given: Any) -> T:
        key = tuple(map(id, given))
        found = self._kept.get(key)
        if found is None:
            if len(self._kept) >= ANSWERS_KEPT:
                self._kept.clear()
            found = self._kept[key] = (given, self._work(*given))
        return found[1]


class Met:
    """What each channel that gas must show met in a test.

    ``asked`` names the channels with an alarm that gas must show; ``shown`` pairs each of them with what it
    did, as often as the test says; ``cylinders`` names the gas that they met; ``absent`` are those asked for
    of which the test says nothing; ``on`` the seconds of gas of every channel named; ``reached`` and
    ``missed`` the channels that did and did not.
    """

    __slots__ = ("absent", "asked", "cylinders", "missed", "on", "reached", "shown")

    def __init__(self, channels: tuple[ChannelFact, ...], shown: tuple[ShownFact, ...]) -> None:
        self.asked = asked(channels)
        by_name = {channel.name: channel for channel in channels}
        self.on = {each.channel: each.gas_on_s for each in shown}
        self.absent = tuple(name for name in self.asked if name not in self.on)
        self.shown = tuple((by_name[each.channel], each) for each in shown if each.channel in self.asked)
        self.cylinders = tuple(dict.fromkeys(each.cylinder for _, each in self.shown))
        self.reached = frozenset(each.channel for each in shown if each.reached)
        self.missed = tuple(each.channel for each in shown if not each.reached)


@once
def asked(channels: tuple[ChannelFact, ...]) -> tuple[str, ...]:
    """The channels with an alarm that gas must show."""
    return tuple(
        channel.name for channel in channels if any(alarm.shown_by == "gas" for alarm in channel.alarms)
    )


met: Final = once(Met)
