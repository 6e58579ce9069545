"""Whether the test gas had the strength and the time that the German chemical trade association (BG RCI)
advises."""

from __future__ import annotations

from decimal import Decimal
from functools import lru_cache
from typing import Final

from pitbird.fleet.state import ChannelFact, ComponentFact, CylinderState
from pitbird.rules.decision import Finding
from pitbird.rules.predicates.base import (
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    UNKNOWN,
    Attempt,
    Bound,
    Code,
    Facts,
    Kind,
    Parameter,
    Scope,
    known_cylinder,
    number,
    predicate,
)
from pitbird.rules.predicates.met import Met, once
from pitbird.science.challenge.values import measures_what_burns
from pitbird.science.challenge.windows import Guidance, Span, cap_of, falling_span, rising_span
from pitbird.science.gases import BASES, gas_of, lfl_vol_pct, same_gas

PPM_PER_VOL_PCT: Final = 10_000


def window(channel: ChannelFact, limits: Guidance) -> Span | None:
    """The window for a channel, from the highest alarm that gas must show (BG RCI FAQ 2.9, table 1, method
    1).

    Flammable: 1.2 to 2.0 times the highest alarm, never above 60 %LFL; toxic: 1.2 to 2.0 times; oxygen
    deficiency: about 0.9 times the lowest alarm, where "about" is our spread, not the source's. None where
    the alarm is not a number, the LFL is not known, or the alarm falls on something other than oxygen.
    """
    alarm = channel.must_show
    at = number(alarm.at) if alarm is not None else None
    if alarm is None or at is None or at <= 0:
        return None
    known = gas_of(channel.gas)
    oxygen = channel.principle == "oxygen" or (known is not None and known.name == "oxygen")
    if alarm.direction == "falling":
        return falling_span(at, limits) if oxygen else None
    if oxygen:  # an alarm on enrichment: the source says nothing about it
        return None
    lfl = _lfl(channel)
    if measures_what_burns(channel.gas, channel.principle, channel.unit):
        cap = cap_of(lfl, channel.unit, limits)
        return None if cap is None else rising_span(at, cap, limits)
    carbon_dioxide = known is not None and known.name == "carbon dioxide"
    if lfl is None and channel.principle in ("catalytic", "infrared") and not carbon_dioxide:
        return None  # it may burn: whether the cap holds is not known
    cap = cap_of(lfl, channel.unit, limits) if channel.unit == "vol_pct" else None
    return rising_span(at, cap, limits)


def _lfl(channel: ChannelFact) -> Decimal | None:
    """The LFL of a channel's gas on its basis; where it names none, the lower of the two."""
    bases = (channel.lfl_basis,) if channel.lfl_basis is not None else BASES
    known = [lfl for basis in bases if (lfl := lfl_vol_pct(channel.gas, basis)) is not None]
    return min(known) if known else None


def strength(channel: ChannelFact, components: tuple[ComponentFact, ...]) -> Decimal | None:
    """How strong the channel's own gas is in a mixture, in the channel's unit; None if it cannot be said.

    %LFL = 100 x (% vol) / LFL on the channel's basis. Another gas than the channel's own is not converted:
    that takes the sensor's response factors.
    """
    for component in components:
        if not same_gas(component.gas, channel.gas):
            continue
        amount = number(component.amount)
        if amount is None:
            return None
        vol_pct = amount if component.unit == "vol_pct" else amount / PPM_PER_VOL_PCT
        if channel.unit == "vol_pct":
            return vol_pct
        if channel.unit == "ppm":
            return vol_pct * PPM_PER_VOL_PCT
        lfl = lfl_vol_pct(channel.gas, channel.lfl_basis or "")
        return None if lfl is None else 100 * vol_pct / lfl
    return None


@lru_cache(maxsize=4096)
def judge_strength(
    channel: ChannelFact, components: tuple[ComponentFact, ...], limits: Guidance
) -> tuple[str, str, str, str, int]:
    """A code (empty if the strength is right), the strength, the window's ends, and the longest exposure."""
    wanted = window(channel, limits)
    given = strength(channel, components)
    if wanted is None or given is None:
        return "gas-not-comparable", "", "", "", 0
    code = ""
    if wanted.low > wanted.high:
        code = "no-gas-fits-alarms"
    elif given < wanted.low:
        code = "gas-too-weak"
    elif given > wanted.high:
        code = "gas-too-strong"
    return code, _short(given), _short(wanted.low), _short(wanted.high), wanted.seconds


def _short(value: Decimal) -> str:
    return format(value.quantize(Decimal("0.01")).normalize(), "f")


@predicate(
    "gas-in-window",
    Scope.TEST,
    parameters=(
        Parameter("low", Kind.DECIMAL, "lowest strength, as a multiple of the highest alarm"),
        Parameter("high", Kind.DECIMAL, "highest strength, as a multiple of the highest alarm"),
        Parameter("flammable_max_pct_lfl", Kind.DECIMAL, "never stronger than this, in %LFL"),
        Parameter("oxygen", Kind.DECIMAL, "oxygen, as a multiple of the lowest alarm"),
        Parameter("oxygen_spread", Kind.DECIMAL, "how far oxygen may lie from that multiple"),
        Parameter("flammable_s", Kind.WHOLE, "longest exposure in seconds, flammable"),
        Parameter("toxic_s", Kind.WHOLE, "longest exposure in seconds, toxic"),
        Parameter("oxygen_s", Kind.WHOLE, "longest exposure in seconds, oxygen"),
    ),
    codes={
        "gas-in-window": Code(MET),
        "bare-report": Code(NOT_APPLICABLE),
        "gas-not-recorded": Code(NOT_MET, "test"),
        "cylinder-not-known": Code(UNKNOWN, "describe-cylinder"),
        "gas-not-comparable": Code(UNKNOWN, "look-at-gas"),
        "gas-too-weak": Code(NOT_MET, "test-other-cylinder"),
        "gas-too-strong": Code(NOT_MET, "test-other-cylinder"),
        "no-gas-fits-alarms": Code(NOT_MET, "look-at-gas"),
        "alarm-took-too-long": Code(NOT_MET, "look-at-sensor"),
    },
)
def gas_in_window(attempt: Attempt, rule: Bound) -> Finding:
    """For every channel that had to show an alarm the channel's own gas lay, by its certificate, in the
    window that follows from the highest alarm, and the gas was on no longer than the time in which the
    alarm must have come. A mixture without the channel's own gas, or a flammable limit that is not known,
    cannot be compared."""
    test, met = attempt.test, attempt.met
    if (met.absent or not met.asked) and not attempt.reported:
        return rule.finds("gas-not-recorded", (("channels", ", ".join(met.absent)),), (test.entry,))
    code, facts = _judged(rule, met, *[known_cylinder(attempt, name) for name in met.cylinders])
    if code:
        return rule.finds(code, facts, (test.entry,))
    return rule.finds("bare-report" if met.absent else "gas-in-window")


@once
def _judged(rule: Bound, met: Met, *cylinders: CylinderState | None) -> tuple[str, Facts]:
    """Code and facts of the first channel whose gas or time was wrong, else of the first that cannot be
    compared; no code where all were right."""
    known = dict(zip(met.cylinders, cylinders, strict=True))
    ask = rule.values
    limits = Guidance(
        ask["low"], ask["high"], ask["flammable_max_pct_lfl"], ask["oxygen"], ask["oxygen_spread"],
        ask["flammable_s"], ask["toxic_s"], ask["oxygen_s"],
    )  # fmt: skip
    doubt: tuple[str, Facts] | None = None
    for channel, shown in met.shown:
        cylinder = known[shown.cylinder]
        if cylinder is None:
            doubt = doubt or ("cylinder-not-known", (("cylinder", shown.cylinder),))
            continue
        code, given, low, high, seconds = judge_strength(channel, cylinder.components, limits)
        facts = (
            ("channel", channel.name), ("cylinder", shown.cylinder), ("given", given), ("low", low),
            ("high", high), ("unit", channel.unit),
        )  # fmt: skip
        if code == "gas-not-comparable":
            doubt = doubt or (code, facts)
        elif code:
            return code, facts
        elif not shown.gas_on_s <= seconds:
            return "alarm-took-too-long", (("channel", channel.name), ("seconds", str(seconds)))
    return doubt or ("", ())
