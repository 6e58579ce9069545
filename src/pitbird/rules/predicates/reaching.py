"""What reached the sensors in a test: air drawn in beside too little gas, and the scale of the label."""

from __future__ import annotations

from decimal import Decimal

from pitbird.fleet.state import ChannelFact, ComponentFact, CylinderState, ShownFact
from pitbird.fleet.times import Ms
from pitbird.rules.decision import Finding
from pitbird.rules.delivering import Delivered, delivered
from pitbird.rules.predicates.base import (
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    UNKNOWN,
    Attempt,
    Bound,
    Code,
    Facts,
    Scope,
    known_cylinder,
    number,
    predicate,
)
from pitbird.rules.predicates.met import once
from pitbird.science.gases import lfl_vol_pct, same_gas

#: So far two values of 100 %LFL may lie apart and still be called the same: labels round.
SAME_LFL_PCT = 2
_PPM_PER_VOL_PCT = 10_000


def reached_by(attempt: Attempt) -> list[Delivered]:
    """How the gas came to each channel shown; empty where the book describes no regulator."""
    regulators, cylinders = attempt.surroundings.regulators, attempt.surroundings.cylinders
    if not regulators:
        return []
    detector = attempt.detector
    return [
        delivered(
            detector.draws,
            detector.pump_l_min,
            regulators.get(_regulator(shown, cylinders.get(shown.cylinder), attempt.test.at)),
        )
        for _, shown in attempt.met.shown
    ]


def _regulator(shown: ShownFact, cylinder: CylinderState | None, at: Ms) -> str:
    """The regulator recorded with the test, or the one with which its cylinder was opened by then; "" where
    another may have been on it."""
    if shown.regulator is not None or cylinder is None or cylinder.regulator is None:
        return shown.regulator or ""
    later = cylinder.opened_at is not None and cylinder.opened_at > at
    return "" if later else cylinder.regulator


@predicate(
    "regulator-gives-enough",
    Scope.TEST,
    codes={
        "regulator-gives-enough": Code(MET),
        "no-pump": Code(NOT_APPLICABLE),
        "no-gas-named": Code(NOT_APPLICABLE),
        "pump-not-described": Code(UNKNOWN, "describe-detector"),
        "regulator-not-known": Code(UNKNOWN, "describe-regulator"),
        "gas-thinned": Code(NOT_MET, "fit-regulator"),
    },
)
def regulator_gives_enough(attempt: Attempt, rule: Bound) -> Finding:
    """A detector with a pump was tested on a demand-flow regulator, or on a fixed-flow one that gives at
    least what the pump draws; otherwise air is drawn in beside the gas, and only the share of regulator
    flow / pump flow of what reaches the sensors is test gas. The regulator is that of the test, else that
    with which the cylinder was opened. Where a flow is not described it cannot be told."""
    detector, entry = attempt.detector, attempt.test.entry
    if detector.draws != "pump":
        return rule.finds("no-pump")
    if not attempt.met.shown:
        return rule.finds("no-gas-named")
    ways = reached_by(attempt) or [Delivered(regulator_unknown=True)] * len(attempt.met.shown)
    doubt: Finding | None = None
    for (channel, shown), way in zip(attempt.met.shown, ways, strict=True):
        cylinder = attempt.surroundings.cylinders.get(shown.cylinder)
        if way.finding:
            return rule.finds("gas-thinned", _thinned(channel, shown, cylinder, way), (entry,))
        if way.regulator_unknown:
            facts: Facts = (("cylinder", shown.cylinder),)
            doubt = doubt or rule.finds("regulator-not-known", facts, (entry,))
        elif way.pump_unknown:
            described = (detector.described_by,) if detector.described_by else ()
            facts = (("given", f"{way.regulator_l_min:g}"),)
            doubt = doubt or rule.finds("pump-not-described", facts, (entry, *described))
    return doubt or rule.finds("regulator-gives-enough")


def _thinned(channel: ChannelFact, shown: ShownFact, cylinder: CylinderState | None, way: Delivered) -> Facts:
    share = way.delivery.share
    return (
        ("channel", channel.name),
        ("cylinder", shown.cylinder),
        ("given", f"{way.regulator_l_min:g}"),
        ("drawn", f"{way.pump_l_min:g}"),
        ("share", f"{100 * share:.3g}"),
        ("reaches", _reaches(channel, cylinder, share)),
    )


def _reaches(channel: ChannelFact, cylinder: CylinderState | None, share: float) -> str:
    """What reaches the sensor of its own gas, with what the certificate says; "" where it holds none."""
    for part in cylinder.components if cylinder is not None else ():
        amount = number(part.amount)
        if amount is not None and same_gas(part.gas, channel.gas) and not same_gas(part.gas, "oxygen"):
            unit = "% vol" if part.unit == "vol_pct" else part.unit
            return f" ({part.gas}: {float(amount) * share:.3g} of {part.amount} {unit})"
    return ""


@predicate(
    "lfl-basis-agrees",
    Scope.TEST,
    codes={
        "lfl-basis-agrees": Code(MET),
        "no-lfl-on-label": Code(NOT_APPLICABLE),
        "no-lfl-channel": Code(NOT_APPLICABLE),
        "cylinder-not-known": Code(UNKNOWN, "describe-cylinder"),
        "lfl-basis-differs": Code(NOT_MET, "go-by-vol"),
    },
)
def lfl_basis_agrees(attempt: Attempt, rule: Bound) -> Finding:
    """For every channel in %LFL the label of the cylinder takes the same concentration for 100 %LFL as the
    detector does (to 2 %, since labels round): the value on the label, or that which follows from its %LFL
    and its amount. Where they differ, a healthy detector does not read what is on the label. What the label
    says counts only where it is written down with the gas."""
    met = [(channel, shown) for channel, shown in attempt.met.shown if channel.unit == "pct_lfl"]
    if not met:
        return rule.finds("no-lfl-channel")
    told = False
    doubt: Finding | None = None
    for channel, shown in met:
        cylinder = known_cylinder(attempt, shown.cylinder)
        if cylinder is None:
            facts: Facts = (("cylinder", shown.cylinder),)
            doubt = doubt or rule.finds("cylinder-not-known", facts, (attempt.test.entry,))
            continue
        bases = label_bases(channel, cylinder.components)
        told = told or bool(bases)
        for basis in bases:
            if basis.differs:
                facts = (("channel", channel.name), ("cylinder", shown.cylinder), *basis.facts)
                return rule.finds(
                    "lfl-basis-differs", facts, (attempt.test.entry, cylinder.described_by or "")
                )
    return doubt or rule.finds("lfl-basis-agrees" if told else "no-lfl-on-label")


class LabelBasis:
    """What the label and a channel take for 100 %LFL of a gas, [% vol], and what each makes of its amount."""

    __slots__ = ("gas", "label_vol_pct", "on_label", "own_vol_pct", "reads")

    def __init__(self, part: ComponentFact, label: Decimal, own: Decimal, vol_pct: Decimal) -> None:
        self.gas = part.gas
        self.label_vol_pct, self.own_vol_pct = label, own
        self.on_label = number(part.label_pct_lfl) or 100 * vol_pct / label
        self.reads = 100 * vol_pct / own

    @property
    def differs(self) -> bool:
        """Whether they lie further apart than labels round."""
        return abs(self.label_vol_pct - self.own_vol_pct) * 100 > SAME_LFL_PCT * self.own_vol_pct

    @property
    def facts(self) -> Facts:
        """The numbers of a finding."""
        return (
            ("gas", self.gas),
            ("on_label", f"{float(self.on_label):.3g}"),
            ("label_lfl", f"{float(self.label_vol_pct):.3g}"),
            ("own_lfl", f"{float(self.own_vol_pct):.3g}"),
            ("reads", f"{float(self.reads):.3g}"),
        )


@once
def label_bases(channel: ChannelFact, components: tuple[ComponentFact, ...]) -> tuple[LabelBasis, ...]:
    """For each gas whose label says a %LFL: what label and channel take for 100 %LFL; none where the
    channel's scale has no LFL of it."""
    found = []
    for part in components if channel.unit == "pct_lfl" else ():
        amount, share, stated = (
            number(text) for text in (part.amount, part.label_pct_lfl, part.label_lfl_vol_pct)
        )
        own = lfl_vol_pct(part.gas, channel.lfl_basis or "")
        if amount is None or own is None:
            continue
        vol_pct = amount if part.unit == "vol_pct" else amount / _PPM_PER_VOL_PCT
        label = stated or (100 * vol_pct / share if share else None)
        if label is not None and label > 0:
            found.append(LabelBasis(part, label, Decimal(own), vol_pct))
    return tuple(found)
