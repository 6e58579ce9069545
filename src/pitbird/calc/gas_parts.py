"""A test gas as requests name it: components by ppm or % vol in a balance gas that does not burn."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Annotated

from pydantic import AfterValidator, Field

from pitbird.calc.definition import Part
from pitbird.calc.fields import GasName, Positive
from pitbird.record.faults import Fault, listed, near, shown
from pitbird.science.cylinders import BALANCES, balance_of
from pitbird.science.gases import BASES, gas_of, lfl_vol_pct, same_gas

PPM_PER_PCT = 10_000.0


def _balance(text: str) -> str:
    if balance_of(text) is not None:
        return text
    choice = listed(BALANCES)
    if any(lfl_vol_pct(text, basis) is not None for basis in BASES):
        raise ValueError(f"burns: test gas is not made in a flammable balance gas; write {choice}")
    if gas_of(text) is None:
        raise ValueError(f"not a gas that is known here{near(text, BALANCES)}; write {choice}")
    raise ValueError(f"not a balance gas that is known here; write {choice}")


#: What the components are made up with, by name, formula or CAS number; kept as it was written.
BalanceName = Annotated[str, AfterValidator(_balance), Field(json_schema_extra={"format": "gas"})]


class Component(Part):
    """A component of the gas, in ppm or % vol (one of the two)."""

    gas: GasName
    ppm: Positive | None = None
    """Amount by volume."""
    vol_pct: Positive | None = None
    """Amount by volume."""

    @property
    def share_pct(self) -> float:
        """The amount [% vol], whichever way it was written."""
        return self.vol_pct if self.vol_pct is not None else (self.ppm or 0.0) / PPM_PER_PCT


def composition_faults(components: Sequence[Component], balance: str) -> Iterator[Fault]:
    """What is wrong with a composition as a whole: amounts, a gas named twice, more than 100 %."""
    for place, component in enumerate(components):
        where = f"components[{place}]"
        if (component.ppm is None) == (component.vol_pct is None):
            given = "both ppm and vol_pct" if component.ppm is not None else "no amount"
            yield Fault(where, shown(component.gas), f"has {given}; write one of ppm and vol_pct")
        if any(same_gas(component.gas, other.gas) for other in components[:place]):
            yield Fault(f"{where}.gas", shown(component.gas), "named twice; add the amounts up")
        if same_gas(component.gas, balance) or balance_of(component.gas) == balance_of(balance):
            yield Fault(f"{where}.gas", shown(component.gas), "is the balance gas too; leave it out")
    total = math.fsum(component.share_pct for component in components)
    if total > 100:
        yield Fault("components", f"{total:g} % vol", "more than 100 % in all; check the units")


def oxygen_pct(components: Sequence[Component], balance: str, air_oxygen_pct: float) -> float:
    """Oxygen in the gas [% vol], with that of a balance of air."""
    total = math.fsum(component.share_pct for component in components)
    own = math.fsum(c.share_pct for c in components if same_gas(c.gas, "oxygen"))
    of_balance = air_oxygen_pct if balance_of(balance) == "air" else 0.0
    return own + max(100.0 - total, 0.0) / 100.0 * of_balance
