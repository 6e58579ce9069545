"""Exposure limits as requests name them: one of the named sets, or the reader's own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from pitbird.calc.definition import Part
from pitbird.calc.fields import GasName, Many, Positive
from pitbird.record.faults import Fault, shown
from pitbird.science.exposure_limits import SETS
from pitbird.science.gases import same_gas


class Limit(Part):
    """Exposure limits of one gas, as the reader's own rules have them."""

    gas: GasName
    ceiling_ppm: Positive | None = None
    """Not to be passed at any time."""
    twa_15min_ppm: Positive | None = None
    """Mean over 15 minutes."""
    twa_8h_ppm: Positive | None = None
    """Mean over 8 hours."""
    source: Annotated[str, Field(min_length=1, max_length=200)]
    """Where the limits stand, with the edition."""


#: Named sets of limits.
LimitSetName = Literal["osha-pel", "niosh-rel", "acgih-tlv", "eh40", "eu"]


def _any_of(schema: dict[str, Any]) -> None:
    schema["anyOf"] = schema.pop("oneOf")


# The tags look like pydantic's own branches, so that faults leave them out of the path.
Limits = Annotated[
    Annotated[LimitSetName, Tag("literal[set]")] | Annotated[Many[Limit], Tag("tuple[own]")],
    Discriminator(lambda given: "literal[set]" if isinstance(given, str) else "tuple[own]"),
    Field(json_schema_extra=_any_of),
]


def limit_faults(limits: Limits) -> Iterator[Fault]:
    """What is wrong with limits of one's own: a gas named twice, a gas without any."""
    if isinstance(limits, str):
        return
    for place, limit in enumerate(limits):
        if any(same_gas(limit.gas, other.gas) for other in limits[:place]):
            yield Fault(f"limits[{place}].gas", shown(limit.gas), "has limits already; write one line a gas")
        if limit.ceiling_ppm is limit.twa_15min_ppm is limit.twa_8h_ppm is None:
            problem = "has no limit; write ceiling_ppm, twa_15min_ppm or twa_8h_ppm"
            yield Fault(f"limits[{place}]", shown(limit.gas), problem)


def limit_of(limits: Limits, gas: str) -> Limit | None:
    """The limits of a gas with their source; None where there are none."""
    if not isinstance(limits, str):
        return next((each for each in limits if same_gas(each.gas, gas)), None)
    named = SETS[limits]
    limit = named.of(gas)
    if limit is None:
        return None
    return Limit(
        gas=limit.gas,
        ceiling_ppm=limit.ceiling_ppm,
        twa_15min_ppm=limit.stel_ppm,
        twa_8h_ppm=limit.twa_ppm,
        source=named.cited(limit),
    )
