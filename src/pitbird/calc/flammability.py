"""How near is this mixture to burning in air?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Final

from pydantic import Field

from pitbird.calc.definition import Calculation, Example, Part, Request, Result
from pitbird.calc.fields import Basis, GasName, Many
from pitbird.record.faults import Fault, shown
from pitbird.science.flammability import OXIDISERS, InAir, in_air
from pitbird.science.gases import BASES, EDITIONS, gas_of, same_gas
from pitbird.science.mixtures import AIR_OXYGEN_VOL_PCT, Refused

#: Above this share of the lower flammable limit air counts as a hazardous atmosphere (29 CFR 1910.146(b)).
_HAZARDOUS_PCT: Final = 10.0
#: Mixtures with these follow Le Chatelier badly.
_ROUGH: Final = frozenset({"hydrogen", "hydrogen sulfide", "carbon disulfide", "acetylene"})


class FlammabilityComponent(Part):
    """A gas in the air and how much of it."""

    gas: GasName
    vol_pct: Annotated[float, Field(ge=0, le=100)]
    """Amount by volume."""


class FlammabilityRequest(Request):
    """Gases in air; what they leave of 100 % is taken as air."""

    basis: Basis
    """Standard whose flammable limits are used."""
    components: Many[FlammabilityComponent] = Field(min_length=1)
    """What is in the air, those that do not burn as well if you like."""


class ComponentFlammability(Part):
    """One component against its limit."""

    gas: str
    vol_pct: float
    lfl_vol_pct: float | None
    """Its lower flammable limit on this basis; null where it does not burn."""
    pct_lfl: float
    """Its share of that limit; 0 where it does not burn."""


class FlammabilityResult(Result):
    """Shares of the lower flammable limit."""

    components: tuple[ComponentFlammability, ...]
    mixture_lfl_vol_pct: float | None
    """Lower flammable limit of the flammable part together, by Le Chatelier; null where nothing burns."""
    pct_lfl: float
    """Share of the lower flammable limit of all together."""


def check(request: FlammabilityRequest) -> Iterator[Fault]:
    """What no single field can tell: limits that are missing, a gas named twice, more than 100 %."""
    try:
        _found(request)
    except Refused as refused:
        for problem in refused.problems:
            yield Fault(problem.where, shown(problem.value), problem.problem)


def _found(request: FlammabilityRequest) -> InAir:
    return in_air([(each.gas, each.vol_pct) for each in request.components], request.basis)


def solve(request: FlammabilityRequest) -> FlammabilityResult:
    """%LFL of each component and of all, and the limit of the mixture."""
    found = _found(request)
    components = tuple(
        ComponentFlammability(
            gas=asked.gas, vol_pct=part.vol_pct, lfl_vol_pct=part.lfl_vol_pct, pct_lfl=part.pct_lfl
        )
        for asked, part in zip(request.components, found.parts, strict=True)
    )
    return FlammabilityResult(
        footing=_footing(request),
        cautions=tuple(_cautions(request, found)),
        components=components,
        mixture_lfl_vol_pct=found.mixture_lfl_vol_pct,
        pct_lfl=found.pct_lfl,
    )


def _footing(request: FlammabilityRequest) -> tuple[str, ...]:
    return (
        f"lower flammable limits: {EDITIONS[request.basis]}, as the library chemicals carries them",
        "limit of the mixture and sum of shares by Le Chatelier's rule",
        "in air at about 20 °C and 1 atm; what the components leave of 100 % is taken as air",
    )


def _cautions(request: FlammabilityRequest, found: InAir) -> Iterator[str]:
    if found.pct_lfl >= 100 * (1 - 1e-9):
        yield "At or above the lower flammable limit: it can burn or explode. Leave; no ignition source."
    elif found.pct_lfl > _HAZARDOUS_PCT * (1 + 1e-9):
        yield "Above 10 % of the lower flammable limit: a hazardous atmosphere by 29 CFR 1910.146(b)."
    yield from _other_basis(request, found)
    burning = [part.gas for part in found.parts if part.pct_lfl > 0]
    rough = [gas for gas in burning if gas in _ROUGH]
    if rough and len(burning) > 1:
        yield f"Le Chatelier's rule is rough for mixtures with {', '.join(rough)}: leave a margin."
    yield from _not_air(request)
    if burning:
        yield (
            "It is what is in the air, not what a detector shows: that depends on the gas it is set up for. "
            "The limits fall as it gets warmer. Local codes and the instrument's manual come first."
        )


def _other_basis(request: FlammabilityRequest, found: InAir) -> Iterator[str]:
    """That the other basis gives a larger share, where it does."""
    (other,) = (basis for basis in BASES if basis != request.basis)
    try:
        there = in_air([(each.gas, each.vol_pct) for each in request.components], other)
    except Refused:
        return
    if there.pct_lfl > found.pct_lfl * 1.005:
        yield f"By {EDITIONS[other]} it is more: {there.pct_lfl:.3g} %LFL."


def _not_air(request: FlammabilityRequest) -> Iterator[str]:
    """What makes the rest something else than air."""
    known = {gas.name: each.vol_pct for each in request.components if (gas := gas_of(each.gas))}
    strong = [name for name in known if name in OXIDISERS]
    if strong:
        yield f"{', '.join(strong)} feeds a fire as oxygen does: the limits, for air, do not hold."
    oxygen = next((each.vol_pct for each in request.components if same_gas(each.gas, "oxygen")), 0.0)
    if oxygen > AIR_OXYGEN_VOL_PCT + 0.1:
        yield "More oxygen than in air: it burns from less gas and far harder than in air."


CALCULATION = Calculation(
    "flammability",
    FlammabilityRequest,
    FlammabilityResult,
    solve,
    check,
    examples=(
        Example(
            "Sewer air with methane and petrol vapour, as n-pentane",
            {
                "basis": "iec-60079-20-1",
                "components": [{"gas": "methane", "vol_pct": 0.5}, {"gas": "n-pentane", "vol_pct": 0.1}],
            },
        ),
        Example(
            "Four-gas test gas, 2.5 % methane",
            {
                "basis": "nfpa-497",
                "components": [
                    {"gas": "methane", "vol_pct": 2.5},
                    {"gas": "oxygen", "vol_pct": 18},
                    {"gas": "carbon monoxide", "vol_pct": 0.01},
                    {"gas": "hydrogen sulfide", "vol_pct": 0.0025},
                ],
            },
        ),
    ),
)
