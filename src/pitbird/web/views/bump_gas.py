"""Which cylinder serves which channel, and what is to be said about a cylinder before its gas is spent."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from django.utils.translation import gettext as _

from pitbird.fleet.state import ChannelFact, CylinderState
from pitbird.fleet.times import Ms, local
from pitbird.rules.predicates.gas_question import MAY_BE_GAS, question_at
from pitbird.rules.predicates.gas_window import strength
from pitbird.web.language import number
from pitbird.web.names import code
from pitbird.web.times import day_shown

_SHOWN_UNITS: Final = {"ppm": "ppm", "vol_pct": "% vol", "pct_lfl": "%LFL"}


@dataclass(frozen=True)
class Choice:
    """A cylinder that may be chosen: what it holds, which channels it serves, what speaks against it."""

    state: CylinderState
    serves: tuple[str, ...]
    against: tuple[str, ...]
    in_use: bool
    expired: bool

    @property
    def code(self) -> str:
        """The cylinder's own code."""
        return code(self.state.subject)

    @property
    def gases(self) -> str:
        """The mixture in words: amount, unit and gas of each component."""
        return ", ".join(
            f"{part.gas} {part.amount} {_SHOWN_UNITS.get(part.unit, part.unit)}"
            for part in self.state.components
        )

    @property
    def short(self) -> str:
        """The gases without their amounts, for a line of a list."""
        return ", ".join(part.gas for part in self.state.components)

    @property
    def gauge(self) -> str:
        """The latest gauge reading, in bar."""
        return self.state.gauges[0].bar if self.state.gauges else ""

    @property
    def regulator(self) -> str:
        """The code of the regulator it was opened with."""
        return code(self.state.regulator) if self.state.regulator else ""


def shown_unit(unit: str) -> str:
    """A unit as it is written on paper."""
    return _SHOWN_UNITS.get(unit, unit)


def serves(channel: ChannelFact, cylinder: CylinderState) -> bool:
    """Whether a mixture, by its certificate, brings about the highest alarm that gas must show on a channel.

    By the channel's own gas only (another one takes the sensor's response factors, which the instrument's
    manual gives), stronger than a rising alarm, leaner than a falling one.
    """
    alarm = channel.must_show
    given = strength(channel, cylinder.components)
    if alarm is None or given is None:
        return False
    at = Decimal(alarm.at)
    return given < at if alarm.direction == "falling" else given > at


def choices(
    channels: Sequence[ChannelFact],
    cylinders: Iterable[CylinderState],
    *,
    site: str | None,
    now: Ms,
    zone: str,
) -> list[Choice]:
    """The cylinders at a site, the ones in use first, each with what it serves and what speaks against it."""
    found = []
    for state in cylinders:
        in_use = state.opened_at is not None and state.opened_site == site and state.emptied_at is None
        if not in_use and (state.site != site or state.emptied_at is not None):
            continue
        fits = tuple(channel.name for channel in channels if serves(channel, state))
        said = against(state, now=now, zone=zone)
        found.append(Choice(state, fits, said, in_use, expired(state, now=now, zone=zone)))
    return sorted(found, key=_best_first)


def _best_first(choice: Choice) -> tuple[bool, bool, int, int, str]:
    opened = choice.state.opened_at or 0
    return (bool(choice.against), not choice.in_use, -len(choice.serves), -opened, choice.code)


def expired(state: CylinderState, *, now: Ms, zone: str) -> bool:
    """Whether a cylinder's last day of use is past on the site's calendar."""
    return state.expires is not None and state.expires < local(now, zone).date().isoformat()


def in_question(state: CylinderState, now: Ms) -> bool:
    """Whether tests failed on a cylinder one after another, so that its gas is to be asked about first."""
    return question_at(state, now, in_a_row=MAY_BE_GAS, detectors=MAY_BE_GAS) is not None


def against(state: CylinderState, *, now: Ms, zone: str) -> tuple[str, ...]:
    """What keeps a test with this cylinder from counting, in words; empty if nothing is known against it."""
    said = []
    if state.described_by is None or not state.expires:
        said.append(_("The book does not say what is in it or when it expires."))
    elif expired(state, now=now, zone=zone):
        said.append(_("Expired on %(day)s.") % {"day": day_shown(state.expires)})
    if state.withdrawn_at(now) is not None:
        said.append(_("Quarantined: its gas is in doubt."))
    elif in_question(state, now):
        said.append(_("In question: tests failed on it one after another. Ask about the gas first."))
    if state.emptied_at is not None:
        said.append(_("Emptied or given up."))
    if state.gauges and state.minimum_pressure_bar:
        last = state.gauges[0].bar
        if Decimal(last) < Decimal(state.minimum_pressure_bar):
            said.append(
                _("Last gauge %(bar)s bar, below its minimum of %(minimum)s bar.")
                % {"bar": number(last), "minimum": number(state.minimum_pressure_bar)}
            )
    return tuple(said)


def plan_gas(channels: Sequence[ChannelFact], offered: Sequence[Choice]) -> tuple[list[Choice], list[str]]:
    """The cylinders to apply one after another so that every channel is served, and the channels that no
    cylinder here serves. Only cylinders that nothing speaks against; those in use before others.

    Greedy: the cylinder that serves most of what is left. With the few mixtures of a site that is the least.
    """
    left = [channel.name for channel in channels if channel.must_show is not None]
    order: list[Choice] = []
    while left:
        fit = [choice for choice in offered if not choice.against and set(choice.serves) & set(left)]
        if not fit:
            break
        best = max(fit, key=lambda choice: (choice.in_use, len(set(choice.serves) & set(left))))
        order.append(best)
        left = [name for name in left if name not in best.serves]
    return order, left
