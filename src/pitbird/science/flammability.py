r"""Whether a mixture burns: its share of the lower flammable limit in air, and the cylinder's own gas.

``in_air`` is for gas in the air around people: %LFL of each part and of all (Le Chatelier). ``cylinder_gas``
is for what is in the cylinder: can it form an ignitable mixture with air (ISO 10156)?

.. math:: L_{mix} = \frac{\sum c_i}{\sum c_i / L_i}, \quad \%LFL = 100 \sum c_i / L_i

.. math:: A'_i = \frac{A_i}{\sum A_i + \sum K_k B_k}, \quad \text{flammable if } \sum A'_i / T_{ci} > 1
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from pitbird.science.gases import BASES, EDITIONS
from pitbird.science.mixtures import AIR_OXYGEN_VOL_PCT, Component, Mixture, Problem, Refused
from pitbird.science.substances import Substance, UnknownGas, find

#: Gases that feed a fire as oxygen does, or better.
OXIDISERS: Final = frozenset(
    {
        "nitrous oxide", "nitric oxide", "nitrogen dioxide", "chlorine", "fluorine", "bromine", "ozone",
        "chlorine dioxide",
    }
)  # fmt: skip
#: Up to this much of them in all [% vol] changes nothing here: test gas holds them in ppm (own choice).
OXIDISER_TRACE_VOL_PCT: Final = 0.1
#: Above this much of a pyrophoric gas [% vol] a mixture is taken as one that burns (UN GHS, chapter 2.2).
PYROPHORIC_VOL_PCT: Final = 1.0
PYROPHORIC: Final = frozenset({"silane", "diborane", "phosphine"})


def le_chatelier(parts: Sequence[tuple[float, float]]) -> float:
    """Limit [% vol] of mixed flammable gases from (amount, limit [% vol]) of each; amounts in any one unit.

    H. Le Chatelier 1891; H. F. Coward and G. W. Jones, Bureau of Mines Bulletin 503 (1952). Good for lower
    limits of alike gases; rough for hydrogen with others, and for hydrogen sulfide and carbon disulfide.
    """
    if not parts or any(not (amount > 0 and limit > 0) for amount, limit in parts):
        raise ValueError("amounts and limits must all be more than 0")
    return math.fsum(a for a, _ in parts) / math.fsum(a / limit for a, limit in parts)


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a mixture in air; no limit and 0 %LFL where it does not burn."""

    gas: str
    vol_pct: float
    lfl_vol_pct: float | None
    pct_lfl: float


@dataclass(frozen=True, slots=True)
class InAir:
    """How near a mixture is to burning in air, on a basis."""

    basis: str
    parts: tuple[Part, ...]
    mixture_lfl_vol_pct: float | None
    pct_lfl: float


def in_air(components: Sequence[tuple[str, float]], basis: str) -> InAir:
    """%LFL of every part (gas, % vol) and of their sum; the limit of the flammable part by Le Chatelier.

    What the parts leave of 100 % is taken as air. Valid for air at about 20 °C and 1 atm. A gas that burns
    but has no limit on this basis is refused, never left out. Raises ``Refused`` with every fault.

    Examples
    --------
    >>> round(in_air([("methane", 2.5), ("CO", 0.01)], "iec-60079-20-1").pct_lfl, 2)
    56.91
    """
    problems: list[Problem] = []
    if basis not in BASES:
        raise Refused([Problem("basis", basis, f"must be one of {', '.join(BASES)}")])
    parts: list[Part] = []
    met: dict[str, int] = {}
    for n, (name, vol_pct) in enumerate(components):
        part = _part(n, name, vol_pct, basis, problems)
        if part is None:
            continue
        first = met.setdefault(part.gas, n)
        if first != n:
            where = f"components[{n}].gas"
            problems.append(Problem(where, name, f"the same gas as components[{first}]; each stands once"))
        parts.append(part)
    if not components:
        problems.append(Problem("components", [], "there must be at least one component"))
    total = math.fsum(part.vol_pct for part in parts)
    if total > 100 + 1e-9:
        problems.append(Problem("components", round(total, 6), "more than 100 % vol in all"))
    if problems:
        raise Refused(problems)
    burning = [(part.vol_pct, part.lfl_vol_pct) for part in parts if part.lfl_vol_pct and part.vol_pct > 0]
    limit = le_chatelier(burning) if burning else None
    return InAir(basis, tuple(parts), limit, math.fsum(part.pct_lfl for part in parts))


def _part(n: int, name: str, vol_pct: float, basis: str, problems: list[Problem]) -> Part | None:
    if not (math.isfinite(vol_pct) and 0 <= vol_pct <= 100):
        problems.append(Problem(f"components[{n}].vol_pct", vol_pct, "must lie between 0 and 100"))
        return None
    try:
        gas = find(name)
    except UnknownGas as unknown:
        problems.append(Problem(f"components[{n}].gas", name, str(unknown)))
        return None
    limit = gas.lfl_vol_pct(basis)
    if limit is None and gas.burns:
        others = [EDITIONS[b] for b in BASES if gas.lfl_vol_pct(b) is not None]
        other = f"; {' and '.join(others)} has one" if others else ""
        problem = f"{gas.name} burns but has no lower flammable limit in {EDITIONS[basis]}{other}"
        problems.append(Problem(f"components[{n}].gas", name, problem))
        return None
    return Part(gas.name, vol_pct, limit, 100 * vol_pct / limit if limit else 0.0)


@dataclass(frozen=True, slots=True)
class Coefficients:
    """Coefficients of ISO 10156 of one edition.

    ``tci``: the most of a flammable gas [% mol] that, in nitrogen, does not burn in air at any dilution.
    ``kk``: equivalence of inert gases to nitrogen. ``known``: where the numbers come from.
    """

    edition: str
    tci: Mapping[str, float]
    kk: Mapping[str, float]
    known: str
    #: For any other inert gas of three or more atoms.
    other_kk: float = 1.5


ISO_10156_2010: Final = Coefficients(
    edition="ISO 10156:2010 (Kk also ISO 10156:2017)",
    tci={
        "hydrogen": 5.5, "methane": 8.7, "carbon monoxide": 15.2, "ammonia": 40.1, "hydrogen sulfide": 8.9,
        "hydrogen cyanide": 5.4, "acetone": 4.0, "phosphine": 1.7, "arsine": 3.9, "silane": 1.0,
        "diborane": 0.9,
    },
    kk={
        "nitrogen": 1.0, "carbon dioxide": 1.5, "helium": 0.9, "argon": 0.55, "neon": 0.7, "krypton": 0.5,
        "xenon": 0.5, "sulfur dioxide": 1.5, "sulfur hexafluoride": 4.0, "hydrogen chloride": 1.5,
        "hydrogen fluoride": 1.5, "hydrogen bromide": 1.5,
    },
    known="Tci as in KOSHA Guide P-179-2022 (seen at second hand); Kk as in the library chemicals",
)  # fmt: skip
ISO_10156_1996: Final = Coefficients(
    edition="ISO 10156:1996",
    tci={"hydrogen": 5.7, "methane": 14.3},
    kk={
        "nitrogen": 1.0, "carbon dioxide": 1.5, "helium": 0.5, "argon": 0.5, "neon": 0.5, "krypton": 0.5,
        "xenon": 0.5,
    },
    known="from memory (medium): withdrawn, for comparing with older papers only",
)  # fmt: skip

Verdict = Literal["flammable", "not flammable", "cannot tell"]


@dataclass(frozen=True, slots=True)
class CylinderGas:
    """Whether the gas in a cylinder can form an ignitable mixture with air.

    ``total``: the sum that is held against 1; None where none was made. ``reasons``: what decided, and what
    was assumed. ``footing``: edition and where its numbers come from.
    """

    verdict: Verdict
    total: float | None
    reasons: tuple[str, ...]
    footing: tuple[str, ...]


def cylinder_gas(mixture: Mixture, coefficients: Coefficients = ISO_10156_2010) -> CylinderGas:
    """Whether the gas of a cylinder can form an ignitable mixture with air, by ISO 10156.

    Without oxygen: the sum of A'/Tci against 1. A gas whose Tci is not given here is taken with the lower of
    its flammable limits, which is never larger. With oxygen the coefficients do not hold: with nitrogen and
    carbon dioxide, and no more oxygen beside them than air has, the mixture is held against its lower
    flammable limit instead (diluting it with air leaves less fuel and no more oxygen than air has).

    "Cannot tell" beyond: more oxygen than air, oxygen with noble gases, other oxidisers, halogenated fuels, a
    fuel without any limit. A verdict here is no clearance to handle or fill: the supplier's label and safety
    data sheet come first.
    """
    footing = (coefficients.edition, coefficients.known)
    fuels = [c for c in mixture.components if c.gas.burns and c.vol_pct > 0]
    inert = [c for c in mixture.components if not c.gas.burns and c.gas.name not in OXIDISERS | {"oxygen"}]
    if not fuels:
        return CylinderGas("not flammable", 0.0, ("nothing in it burns",), footing)
    doubts = _doubts(mixture, fuels)
    if doubts:
        return CylinderGas("cannot tell", None, doubts, footing)
    pyrophoric = [c for c in fuels if c.gas.name in PYROPHORIC and c.vol_pct > PYROPHORIC_VOL_PCT]
    if pyrophoric:
        reason = (
            f"more than {PYROPHORIC_VOL_PCT:g} % vol of {pyrophoric[0].gas.name}, which can light by itself"
        )
        return CylinderGas("flammable", None, (reason,), footing)
    if mixture.vol_pct("oxygen") > 0:
        return _with_oxygen(mixture, fuels, inert)
    return _without_oxygen(fuels, inert, coefficients, footing)


def _doubts(mixture: Mixture, fuels: Sequence[Component]) -> tuple[str, ...]:
    found = []
    oxidisers = [c for c in mixture.components if c.gas.name in OXIDISERS]
    if math.fsum(c.vol_pct for c in oxidisers) > OXIDISER_TRACE_VOL_PCT:
        found.append(f"holds an oxidiser besides oxygen ({', '.join(c.gas.name for c in oxidisers)})")
    found += [
        f"{c.gas.name} is a halogenated fuel, for which the method is not made"
        for c in fuels
        if c.gas.atoms.keys() & {"F", "Cl", "Br", "I"}
    ]
    return tuple(found)


def _weight(fuel: Component, tci: Mapping[str, float]) -> tuple[float | None, str | None]:
    """The Tci of a fuel [%], and what is to be said about it."""
    if fuel.gas.name in tci:
        return tci[fuel.gas.name], None
    limit = fuel.gas.lowest_lfl_vol_pct
    if limit is None:
        return None, f"{fuel.gas.name} burns, and neither its Tci nor its LFL is known here"
    return limit, f"{fuel.gas.name}: its lower LFL of {limit:g} % vol stands for its Tci"


def _kk(inert: Substance, coefficients: Coefficients) -> float | None:
    if inert.name in coefficients.kk:
        return coefficients.kk[inert.name]
    return coefficients.other_kk if sum(inert.atoms.values()) >= 3 else None


def _without_oxygen(
    fuels: Sequence[Component],
    inert: Sequence[Component],
    coefficients: Coefficients,
    footing: tuple[str, ...],
) -> CylinderGas:
    weights = [_weight(fuel, coefficients.tci) for fuel in fuels]
    factors = [_kk(c.gas, coefficients) for c in inert]
    said = [word for _, word in weights if word]
    said += [f"no Kk is known for {c.gas.name}" for c, k in zip(inert, factors, strict=True) if k is None]
    if any(tci is None for tci, _ in weights) or any(k is None for k in factors):
        return CylinderGas("cannot tell", None, tuple(said), footing)
    fuel = math.fsum(c.vol_pct for c in fuels)
    whole = fuel + math.fsum((k or 0) * c.vol_pct for c, k in zip(inert, factors, strict=True))
    total = math.fsum(
        100 * c.vol_pct / whole / (tci or math.nan) for c, (tci, _) in zip(fuels, weights, strict=True)
    )
    verdict: Verdict = "flammable" if total > 1 else "not flammable"
    reason = f"sum of A'/Tci is {total:.3g}: {'more' if total > 1 else 'not more'} than 1"
    return CylinderGas(verdict, total, (reason, *said), footing)


def _with_oxygen(mixture: Mixture, fuels: Sequence[Component], inert: Sequence[Component]) -> CylinderGas:
    footing = (f"lower flammable limit of each fuel, the lower of {' and '.join(EDITIONS.values())}",)
    oxygen = mixture.vol_pct("oxygen")
    beside = 100 - math.fsum(c.vol_pct for c in fuels)
    doubts = [
        f"oxygen with {c.gas.name}: the limits are for air"
        for c in inert
        if c.gas.name not in {"nitrogen", "carbon dioxide"} and c.vol_pct > OXIDISER_TRACE_VOL_PCT
    ]
    # 21 % is written for air too.
    if oxygen > max(AIR_OXYGEN_VOL_PCT, 21.0) / 100 * beside * (1 + 1e-9):
        doubts.append("more oxygen beside the fuel than air has: the limits are for air")
    limits = [(c, c.gas.lowest_lfl_vol_pct) for c in fuels]
    doubts += [f"{c.gas.name} burns, and its LFL is not known here" for c, limit in limits if limit is None]
    if doubts:
        return CylinderGas("cannot tell", None, tuple(doubts), footing)
    total = math.fsum(c.vol_pct / (limit or math.nan) for c, limit in limits)
    if total < 1:
        reason = (
            f"{100 * total:.3g} %LFL, with oxygen: below the lower flammable limit at any dilution with air"
        )
        return CylinderGas("not flammable", total, (reason,), footing)
    reason = f"{100 * total:.3g} %LFL, with oxygen: taken as flammable; it may explode inside the cylinder"
    return CylinderGas("flammable", total, (reason, "such a mixture is not to be made or used"), footing)
