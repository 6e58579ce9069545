"""Exposure limits of one's own as lines in site rules: gas, limits and where they stand."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from pitbird.science.exposure_limits import Limit
from pitbird.science.gases import gas_of, same_gas

FORM: Final = '"hydrogen sulfide: 8 h 1 ppm, 15 min 5 ppm, ceiling 10 ppm (House rules, 2026)"'
_LINE: Final = re.compile(r"^(?P<gas>[^:]+):(?P<limits>[^()]+)\((?P<source>.*\S.*)\)$")
_LIMIT: Final = re.compile(r"^(?P<over>8 h|15 min|ceiling) (?P<amount>\d+(?:\.\d+)?) (?P<unit>ppm|% vol)$")
_FIELDS: Final = {"8 h": "twa_ppm", "15 min": "stel_ppm", "ceiling": "ceiling_ppm"}


class NoLimit(ValueError):
    """A line that says no limit; the message tells why."""


@lru_cache(maxsize=1024)
def own_limit(line: str) -> tuple[Limit, str]:
    """The limits of a gas that a line says [ppm], and their source.

    ``GAS: 8 h 1 ppm, 15 min 5 ppm, ceiling 0.5 % vol (SOURCE)``, each of the three at most once, at least one
    of them. Raises ``NoLimit`` with everything that is wrong.
    """
    found = _LINE.match(line.strip())
    if found is None:
        raise NoLimit(f"write it as {FORM}")
    gas, source = found["gas"].strip(), found["source"].strip()
    wrong = [] if gas_of(gas) is not None else [f"{gas} is not a gas that is known here"]
    amounts: dict[str, float] = {}
    for part in (each.strip() for each in found["limits"].split(",")):
        said = _LIMIT.match(part)
        if said is None:
            wrong.append(f'"{part}" is no limit; write 8 h, 15 min or ceiling, a number, and ppm or % vol')
            continue
        field, amount = _FIELDS[said["over"]], float(said["amount"])
        if field in amounts:
            wrong.append(f"two limits for {said['over']}")
        if amount <= 0:
            wrong.append(f"{part} is no limit; it is above 0")
        amounts[field] = amount * (10_000 if said["unit"] == "% vol" else 1)
    if wrong:
        raise NoLimit("; ".join(wrong))
    limit = Limit(gas, amounts.get("twa_ppm"), amounts.get("stel_ppm"), amounts.get("ceiling_ppm"))
    return limit, source


def fault_of(line: str) -> str:
    """What is wrong with a line, in words; "" for nothing."""
    try:
        own_limit(line)
    except NoLimit as refused:
        return str(refused)
    return ""


def own_limit_of(lines: tuple[str, ...], gas: str) -> tuple[Limit, str] | None:
    """The strictest line about a gas; None where there is none."""
    about = [found for found in map(own_limit, lines) if same_gas(found[0].gas, gas)]
    return min(about, key=lambda found: _lowest(found[0]), default=None)


def _lowest(limit: Limit) -> float:
    return min(each for each in (limit.twa_ppm, limit.stel_ppm, limit.ceiling_ppm) if each is not None)
