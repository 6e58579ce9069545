"""What does a catalytic sensor set up on one vapour read in another?"""

from __future__ import annotations

from collections.abc import Iterator

from pitbird.calc.definition import Calculation, Example, Part, Request, Result
from pitbird.calc.fields import Basis, GasName
from pitbird.record.faults import Fault, shown
from pitbird.science.relative import NotInModel, Terms, relative_response, terms


class RelativeResponseRequest(Request):
    """A catalytic sensor, the vapour it is set up on and the one it meets."""

    calibrated_on: GasName
    """The gas that it is set up on."""
    exposed_to: GasName
    """The gas that is there."""
    basis: Basis
    """Standard whose flammable limits are used."""


class ResponseTerms(Part):
    """What the model takes of a gas."""

    gas: str
    net_heat_of_combustion_kj_mol: float
    diffusivity_cm2_s: float
    """In air at 25 °C and 1 atm."""
    lfl_vol_pct: float


class RelativeResponseResult(Result):
    """Reading over true %LFL, its inverse, and what they are made of."""

    relative_response: float
    """Reading / true %LFL."""
    correction_factor: float
    """True %LFL / reading."""
    calibrated_on: ResponseTerms
    exposed_to: ResponseTerms


def check(request: RelativeResponseRequest) -> Iterator[Fault]:
    """What no single field can tell: gases that do not burn or have no limit on this basis."""
    for field in ("calibrated_on", "exposed_to"):
        gas = getattr(request, field)
        try:
            terms(gas, request.basis, field)
        except NotInModel as refused:
            yield Fault(refused.argument, shown(gas), refused.problem)


def solve(request: RelativeResponseRequest) -> RelativeResponseResult:
    """The relative response in the diffusion-limited model."""
    found = relative_response(request.calibrated_on, request.exposed_to, request.basis)
    return RelativeResponseResult(
        footing=found.footing,
        cautions=found.cautions,
        relative_response=found.relative_response,
        correction_factor=found.correction_factor,
        calibrated_on=_terms(request.calibrated_on, found.calibrated_on),
        exposed_to=_terms(request.exposed_to, found.exposed_to),
    )


def _terms(asked: str, found: Terms) -> ResponseTerms:
    return ResponseTerms(
        gas=asked,
        net_heat_of_combustion_kj_mol=found.net_heat_of_combustion_kj_mol,
        diffusivity_cm2_s=found.diffusivity_cm2_s,
        lfl_vol_pct=found.lfl_vol_pct,
    )


CALCULATION = Calculation(
    "relative-response",
    RelativeResponseRequest,
    RelativeResponseResult,
    solve,
    check,
    examples=(
        Example(
            "Set up on methane, petrol vapour (as n-pentane) there",
            {"calibrated_on": "methane", "exposed_to": "n-pentane", "basis": "iec-60079-20-1"},
        ),
        Example(
            "Set up on n-pentane, methane there",
            {"calibrated_on": "n-pentane", "exposed_to": "methane", "basis": "iec-60079-20-1"},
        ),
    ),
)
