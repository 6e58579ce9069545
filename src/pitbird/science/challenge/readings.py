"""What a sensor finally reads in a mixture, by its principle: own gas apart from all the rest.

Every reading is a sum over components, each its concentration times a factor:

=================  ==========================================================================================
flammable channel  its own gas with 1; other gases that burn with the factor given, else, for a bead only, by
                   the diffusion-limited model. An infrared sensor does not see hydrogen, carbon monoxide,
                   hydrogen sulfide or ammonia in the band of the C-H bond.
electrochemical    its own gas with 1; cross-sensitivities, negative ones too, count in the final reading only
oxygen             the oxygen certified, or that of the air in the balance; from 20.9 % vol downwards
photoionisation    its own gas with 1; where the mixture holds none of it, other vapours with the factors
                   given; a component that the lamp may ionise and whose factor is not given is refused
=================  ==========================================================================================
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from pitbird.science.challenge.values import (
    AIR_OXYGEN_VOL_PCT,
    NOT_IN_CH_BAND,
    PPM_PER_VOL_PCT,
    Component,
    Mixture,
    Sensor,
    burns,
    by_gas,
    canonical,
    pct_lfl,
)
from pitbird.science.gases import BASES, lfl_vol_pct, same_gas

#: Reading / true value at equal %LFL of a bead set up on the first gas and shown the second, on a basis; None
#: where the model does not know one of them.
Model = Callable[[str, str, str], float | None]

#: Below this share of its LFL a component without a factor is left out and named.
TRACE_PCT_LFL: Final = 1.0
#: Indicators with a bead do not read below this (general handbook text; % vol).
BEAD_OXYGEN_VOL_PCT: Final = 10.0

#: Ionisation energy above 11.7 eV, the strongest lamp in use (NIST Chemistry WebBook values, from memory).
NOT_IONISED: Final = frozenset(
    {
        "methane", "hydrogen", "carbon monoxide", "carbon dioxide", "hydrogen cyanide", "sulfur dioxide",
        "oxygen", "nitrogen", "argon", "helium",
    }
)  # fmt: skip
#: Moles of oxygen that burn one mole, x + y/4 - z/2 for CxHyOz (ammonia to nitrogen, sulfide to dioxide).
OXYGEN_TO_BURN: Final[dict[str, float]] = {
    "methane": 2, "ethane": 3.5, "propane": 5, "n-butane": 6.5, "isobutane": 6.5, "n-pentane": 8,
    "isopentane": 8, "n-hexane": 9.5, "n-heptane": 11, "n-octane": 12.5, "n-nonane": 14, "hydrogen": 0.5,
    "ammonia": 0.75, "carbon monoxide": 0.5, "hydrogen sulfide": 1.5, "ethanol": 3, "methanol": 1.5,
    "acetone": 4, "2-butanone": 5.5, "isopropanol": 4.5, "toluene": 9, "benzene": 7.5, "ethylene": 3,
    "propylene": 4.5, "isobutylene": 6, "acetylene": 2.5, "hydrogen cyanide": 1.25, "styrene": 10,
    "ethylene oxide": 2.5, "ethyl acetate": 5, "cyclohexane": 9, "n-decane": 15.5, "cyclopentane": 7.5,
    "1-butene": 6, "1,3-butadiene": 5.5, "ethylbenzene": 10.5, "o-xylene": 10.5, "m-xylene": 10.5,
    "p-xylene": 10.5, "1-propanol": 4.5, "1-butanol": 6, "4-methyl-2-pentanone": 8.5, "diethyl ether": 6,
    "dimethyl ether": 3, "methyl tert-butyl ether": 7.5, "tetrahydrofuran": 5.5, "propylene oxide": 4,
    "acetaldehyde": 2.5, "formaldehyde": 1, "methyl acetate": 3.5, "n-butyl acetate": 8,
    "acrylonitrile": 3.75, "methylamine": 2.25, "methyl mercaptan": 3, "tetrahydrothiophene": 7,
    "carbon disulfide": 3,
}  # fmt: skip
#: Oxygen, % vol, for one %LFL of a gas not in that table: more than any gas in it takes (own bound).
OXYGEN_PER_PCT_LFL: Final = 0.15


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a request: where, what stood there, and what to do; a gas that is not known."""

    where: str
    value: object
    problem: str
    unknown_gas: str = ""


class NotJudged(ValueError):
    """A challenge that cannot be judged; ``problems`` holds everything that is wrong."""

    def __init__(self, problems: tuple[Problem, ...]) -> None:
        self.problems = problems
        super().__init__("\n".join(f"{p.where}: {p.problem}" for p in problems))


@dataclass(frozen=True, slots=True)
class Term:
    """What one component adds to the final reading, [the sensor's unit], with its relative sd, [-]."""

    gas: str
    adds: float
    relative_sd: float
    own: bool


@dataclass(frozen=True, slots=True)
class Reading:
    """What a sensor finally reads, [its unit].

    ``own_low`` and ``own_high``: every own component at the lower or the upper end of its expanded
    uncertainty (k = 2); ``own_sd``: standard uncertainty of the sum, components independent. ``left_out``:
    traces that burn and whose factor is not known.
    """

    own: float
    own_low: float
    own_high: float
    own_sd: float
    final: float
    terms: tuple[Term, ...]
    left_out: tuple[str, ...] = ()

    def ends(self, sensor: Sensor, *, falling: bool) -> tuple[float, float, float]:
        """Steps towards the alarm: at the certified value, at the lean end, at the rich end."""
        start = sensor.clean_air_reading
        if falling:
            return start - self.own, start - self.own_high, start - self.own_low
        return self.own - start, self.own_low - start, self.own_high - start


def read(sensor: Sensor, mixture: Mixture, basis: str, model: Model | None = None) -> Reading:
    """What a sensor finally reads in a mixture.

    Raises ``NotJudged`` (places relative to the sensor) where a factor is missing, where an LFL is not known
    on the basis, or where a bead has less oxygen than it needs. Valid for mixtures and sensors that
    ``checking`` finds no fault with.
    """
    problems = list(_oxygen_short(sensor, mixture, basis))
    terms, left_out = [], []
    for component in _components(sensor, mixture):
        try:
            factor, own = _factor(sensor, component, mixture, basis, model)
        except NotJudged as refused:
            problems += refused.problems
            continue
        if factor is None:
            left_out.append(component.gas)
            continue
        spread = component.expanded_uncertainty_pct / 200
        terms.append(Term(component.gas, factor * component.vol_pct, spread, own))
    if problems:
        raise NotJudged(tuple(problems))
    own_terms = [term for term in terms if term.own]
    return Reading(
        own=sum(term.adds for term in own_terms),
        own_low=sum(term.adds * (1 - 2 * term.relative_sd) for term in own_terms),
        own_high=sum(term.adds * (1 + 2 * term.relative_sd) for term in own_terms),
        own_sd=math.hypot(*(term.adds * term.relative_sd for term in own_terms)),
        final=sum(term.adds for term in terms),
        terms=tuple(terms),
        left_out=tuple(left_out),
    )


def _components(sensor: Sensor, mixture: Mixture) -> Iterator[Component]:
    """The components, and the oxygen of a balance of air for a sensor that measures it."""
    yield from mixture.components
    if mixture.balance_is_air and same_gas(sensor.gas, "oxygen"):
        yield Component("oxygen", AIR_OXYGEN_VOL_PCT / 100 * mixture.balance_vol_pct, "vol_pct")


def _factor(
    sensor: Sensor, component: Component, mixture: Mixture, basis: str, model: Model | None
) -> tuple[float | None, bool]:
    """Reading per % vol, and whether the component is the sensor's own; None for a trace left out."""
    gas = component.gas
    scale = PPM_PER_VOL_PCT if sensor.unit == "ppm" else 1.0
    if same_gas(gas, sensor.gas):
        return (_per_lfl(gas, basis) if sensor.unit == "pct_lfl" else scale), True
    given, crossing = by_gas(sensor.relative_response, gas), by_gas(sensor.cross_sensitivity, gas)
    if crossing is not None:
        return crossing * PPM_PER_VOL_PCT, False
    if sensor.flammable and burns(gas):
        return _flammable(sensor, component, basis, model, given), True
    if given is not None and sensor.unit != "pct_lfl":
        own = sensor.principle == "photoionisation" and not _holds(mixture, sensor.gas)
        return given * scale, own
    if sensor.principle == "photoionisation" and canonical(gas) not in NOT_IONISED:
        raise NotJudged(
            (
                Problem(
                    "relative_response",
                    "",
                    f"a photoionisation sensor needs its factor for {gas}, for the lamp that is in it; write "
                    "reading / true value, or 0 where this lamp does not ionise it",
                ),
            )
        )
    return 0.0, False


def _flammable(
    sensor: Sensor, component: Component, basis: str, model: Model | None, given: float | None
) -> float | None:
    """Reading per % vol of another gas that burns; None for a trace whose factor is not known."""
    gas = component.gas
    per_lfl = sensor.unit == "pct_lfl"
    scale = PPM_PER_VOL_PCT if sensor.unit == "ppm" else 1.0
    if given is not None:
        return given * (_per_lfl(gas, basis) if per_lfl else scale)
    if sensor.principle == "infrared" and canonical(gas) in NOT_IN_CH_BAND:
        return 0.0
    if sensor.principle == "catalytic":
        by_model = model(sensor.gas, gas, basis) if model is not None else None
        own, other = lfl_vol_pct(sensor.gas, basis), lfl_vol_pct(gas, basis)
        if by_model is not None and other is not None and (per_lfl or own is not None):
            return by_model * 100 / float(other) * (1.0 if per_lfl else scale * float(own or 0) / 100)
    if _most_pct_lfl(component) < TRACE_PCT_LFL:
        return None
    held = (
        "the model knows no factor"
        if sensor.principle == "catalytic"
        else "the catalytic model does not hold"
    )
    problem = (
        f"{held} for {gas} on this {sensor.principle} sensor set up for {sensor.gas}; write its own factor, "
        "reading / true value, from the instrument's manual"
    )
    raise NotJudged((Problem("relative_response", "", problem),))


def _per_lfl(gas: str, basis: str) -> float:
    """%LFL per % vol."""
    found = pct_lfl(gas, 1.0, basis)
    if found is None:
        problem = f"no LFL of {gas} is known on {basis}; choose the other basis or leave the channel out"
        raise NotJudged((Problem("gas", gas, problem),))
    return found


def _most_pct_lfl(component: Component) -> float:
    """%LFL on whichever basis makes more of it."""
    values = [pct_lfl(component.gas, component.vol_pct, basis) for basis in BASES]
    return max((value for value in values if value is not None), default=0.0)


def _holds(mixture: Mixture, gas: str) -> bool:
    return any(same_gas(component.gas, gas) and component.vol_pct > 0 for component in mixture.components)


def mixture_pct_lfl(mixture: Mixture, basis: str) -> float:
    """All that burns in a mixture as a sum of %LFL (Le Chatelier), on the basis or, for a gas that it lacks,
    on the other."""
    total = 0.0
    for component in mixture.components:
        value = pct_lfl(component.gas, component.vol_pct, basis)
        total += value if value is not None else _most_pct_lfl(component)
    return total


def oxygen_needed_vol_pct(mixture: Mixture) -> float:
    """Oxygen that a bead needs in a mixture, % vol: what burns all that burns, and never less than 10.

    The 10 is general handbook text for indicators with a bead; the rest is stoichiometry.
    """
    return max(BEAD_OXYGEN_VOL_PCT, sum(_burned(component) for component in mixture.components))


def _burned(component: Component) -> float:
    moles = OXYGEN_TO_BURN.get(canonical(component.gas))
    return OXYGEN_PER_PCT_LFL * _most_pct_lfl(component) if moles is None else moles * component.vol_pct


def _oxygen_short(sensor: Sensor, mixture: Mixture, basis: str) -> Iterator[Problem]:
    if sensor.principle != "catalytic" or mixture_pct_lfl(mixture, basis) < TRACE_PCT_LFL:
        return
    there, needed = mixture.oxygen_vol_pct, oxygen_needed_vol_pct(mixture)
    if there < needed:
        yield Problem(
            "principle",
            sensor.principle,
            f"a bead burns the gas with the oxygen beside it: the mixture holds {there:.3g} % vol oxygen and "
            f"it takes {needed:.3g} at least; use test gas with air, or with oxygen, as balance",
        )
