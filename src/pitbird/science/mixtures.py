"""Amounts of gas in one unit turned into another, and mixtures that add up.

A value in %LFL means nothing without its basis: every conversion from or to it takes one and shows it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from pitbird.science.gases import BASES, EDITIONS
from pitbird.science.substances import Substance, UnknownGas, find

PPM_PER_VOL_PCT: Final = 10_000.0
#: Oxygen in dry air [% vol]: U.S. Standard Atmosphere 1976, 0.209476 (from memory, high).
AIR_OXYGEN_VOL_PCT: Final = 20.9476
#: How far a composition without balance may lie off 100 % vol, for rounding [% vol].
ROUNDING_VOL_PCT: Final = 0.01

Unit = Literal["ppm", "vol_pct", "pct_lfl"]
UNITS: Final[dict[str, str]] = {"ppm": "ppm", "vol_pct": "% vol", "pct_lfl": "%LFL"}


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with something handed in: where, what stood there, what is wanted."""

    where: str
    value: object
    problem: str

    def __str__(self) -> str:
        return f"{self.where} = {self.value!r}: {self.problem}"


class Refused(ValueError):
    """Refused; ``problems`` holds everything that was found wrong."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


@dataclass(frozen=True, slots=True)
class Amount:
    """An amount of a gas in a unit; for %LFL with the basis and the limit that it stands on."""

    gas: str
    value: float
    unit: Unit
    basis: str | None = None
    lfl_vol_pct: float | None = None

    def __str__(self) -> str:
        """``56.8 %LFL methane (LFL 4.4 % vol, IEC 60079-20-1 (2010))``."""
        said = f"{self.value:.4g} {UNITS[self.unit]} {self.gas}"
        if self.basis is None:
            return said
        return f"{said} (LFL {self.lfl_vol_pct:g} % vol, {EDITIONS[self.basis]})"


def convert(gas: str, value: float, unit: Unit, to: Unit, basis: str | None = None) -> Amount:
    """An amount of a gas in another unit.

    1 % vol = 10 000 ppm; %LFL = 100 x (% vol) / LFL on the basis, which must be given where %LFL takes part.
    Ideal gas: ppm and % vol are amounts of substance. Raises ``Refused`` with every fault: a gas that is not
    known, a value that is negative or above 100 % vol, no basis, no limit on it, a gas that does not burn.

    Examples
    --------
    >>> str(convert("methane", 2.5, "vol_pct", "pct_lfl", "iec-60079-20-1"))
    '56.82 %LFL methane (LFL 4.4 % vol, IEC 60079-20-1 (2010))'
    >>> convert("CO", 50, "ppm", "vol_pct").value
    0.005
    """
    problems = [*_units(unit, to)]
    found = _found(gas, "gas", problems)
    if not (math.isfinite(value) and value >= 0):
        problems.append(Problem("value", value, "must be 0 or more"))
    limit = None
    if "pct_lfl" in (unit, to):
        limit = _limit(found, basis, problems)
    if problems or found is None:
        raise Refused(problems)
    per_unit = {"ppm": 1 / PPM_PER_VOL_PCT, "vol_pct": 1.0, "pct_lfl": (limit or math.nan) / 100}
    vol_pct = value * per_unit[unit]
    if vol_pct > 100 * (1 + 1e-12):
        raise Refused([Problem("value", value, f"more than 100 % vol ({vol_pct:.4g})")])
    turned = vol_pct / per_unit[to] if unit != to else value
    return Amount(found.name, turned, to, basis if limit else None, limit)


def _units(*units: str) -> Iterable[Problem]:
    for where, unit in zip(("unit", "to"), units, strict=True):
        if unit not in UNITS:
            yield Problem(where, unit, f"must be one of {', '.join(UNITS)}")


def _found(gas: str, where: str, problems: list[Problem]) -> Substance | None:
    try:
        return find(gas)
    except UnknownGas as unknown:
        problems.append(Problem(where, gas, str(unknown)))
        return None


def _limit(gas: Substance | None, basis: str | None, problems: list[Problem]) -> float | None:
    if basis not in BASES:
        problems.append(Problem("basis", basis, f"%LFL needs a basis: one of {', '.join(BASES)}"))
        return None
    if gas is None:
        return None
    limit = gas.lfl_vol_pct(basis)
    if limit is None:
        problem = f"has no lower flammable limit in {EDITIONS[basis]}" if gas.burns else "does not burn"
        problems.append(Problem("gas", gas.name, f"{gas.name} {problem}"))
    return limit


@dataclass(frozen=True, slots=True)
class Component:
    """A gas of a mixture and how much of it [% vol]."""

    gas: Substance
    vol_pct: float


@dataclass(frozen=True, slots=True)
class Mixture:
    """A mixture that adds up to 100 % vol; made by ``mixture``. Air stands in it as oxygen and nitrogen."""

    components: tuple[Component, ...]

    def vol_pct(self, name: str) -> float:
        """How much of a gas, by its name, is in it [% vol]."""
        return math.fsum(c.vol_pct for c in self.components if c.gas.name == name)


def mixture(
    parts: Iterable[tuple[str, float, Unit]], balance: str | None, basis: str | None = None
) -> Mixture:
    """A mixture from its parts (gas, value, unit) and the gas that makes up the rest.

    Without a balance the parts must make 100 % vol to within ``ROUNDING_VOL_PCT``. ``basis`` is needed for
    parts in %LFL. Air, as a part or the balance, is taken as 20.95 % vol oxygen and the rest nitrogen. Raises
    ``Refused`` with every fault, named ``components[0].gas``, ``components[0].amount``, ``balance``...
    """
    problems: list[Problem] = []
    found: list[Component] = []
    met: dict[str, int] = {}
    for n, (gas, value, unit) in enumerate(parts):
        try:
            amount = convert(gas, value, unit, "vol_pct", basis)
        except Refused as refused:
            problems += (_placed(problem, n) for problem in refused.problems)
            continue
        first = met.setdefault(amount.gas, n)
        if first != n:
            problem = f"the same gas as components[{first}]; each stands once"
            problems.append(Problem(f"components[{n}].gas", gas, problem))
        found.append(Component(find(amount.gas), amount.value))
    rest = _found(balance, "balance", problems) if balance is not None else None
    if rest is not None and rest.name in met:
        problems.append(Problem("balance", balance, f"the same gas as components[{met[rest.name]}]"))
    total = math.fsum(component.vol_pct for component in found)
    problems += _adds_up(total, balance)
    if problems:
        raise Refused(problems)
    if rest is not None and total < 100:
        found.append(Component(rest, 100 - total))
    return Mixture(_without_air(found))


def _placed(problem: Problem, n: int) -> Problem:
    if problem.where == "basis":
        return problem
    field = {"gas": "gas", "value": "amount"}.get(problem.where, "unit")
    return Problem(f"components[{n}].{field}", problem.value, problem.problem)


def _adds_up(total: float, balance: str | None) -> Iterable[Problem]:
    if total > 100 + ROUNDING_VOL_PCT:
        yield Problem("components", round(total, 6), "more than 100 % vol in all")
    elif balance is None and total < 100 - ROUNDING_VOL_PCT:
        rest = f"{100 - total:.4g} % vol are missing"
        yield Problem("balance", None, f"{rest}: name the balance gas, or components that make 100 % vol")


def _without_air(components: Iterable[Component]) -> tuple[Component, ...]:
    amounts: dict[str, float] = {}
    for component in components:
        shares = {component.gas.name: 1.0}
        if component.gas.name == "air":
            shares = {"oxygen": AIR_OXYGEN_VOL_PCT / 100, "nitrogen": 1 - AIR_OXYGEN_VOL_PCT / 100}
        for name, share in shares.items():
            amounts[name] = amounts.get(name, 0.0) + component.vol_pct * share
    return tuple(Component(find(name), vol_pct) for name, vol_pct in amounts.items())
