"""What does test gas let into a room do to its air?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any, Final

from pydantic import Field

from pitbird.calc.definition import Calculation, Example, Part, Request, Result
from pitbird.calc.exposure import Limits, limit_faults, limit_of
from pitbird.calc.fields import Many, NotNegative, Positive
from pitbird.calc.gas_parts import PPM_PER_PCT, BalanceName, Component, composition_faults, oxygen_pct
from pitbird.record.faults import Fault, shown
from pitbird.science.cylinders import balance_of
from pitbird.science.exposure_limits import (
    IDLH_SOURCE,
    KNOWN_WORDS,
    OXYGEN_HIGH_VOL_PCT,
    OXYGEN_LOW_VOL_PCT,
    SETS,
    idlh,
)
from pitbird.science.gases import BASES, lfl_vol_pct, same_gas
from pitbird.science.rooms import (
    CLEAN_AIR_OXYGEN_VOL_PCT,
    Course,
    Shares,
    displaced_oxygen_vol_pct,
    one_zone,
    two_zones,
    ventilation_divided,
    ventilation_multiplied,
)

#: Above this air counts as hazardous: 29 CFR 1910.146(b).
HAZARDOUS_PCT_LFL: Final = 10.0
#: A room so small that nobody should test in it: a van, a cupboard, a cab.
_SMALL_M3: Final = 10.0


class RoomReleaseRequest(Request):
    """Gas let out in a room."""

    released_gas_l: Positive
    """All the gas that is let out (at 1 atm and 20 °C)."""
    components: Many[Component]
    """What is in it; none for a gas that is all balance."""
    balance: BalanceName = "nitrogen"
    """What the components are made up with."""
    room_m3: Positive
    """Volume of the air in the room: furniture and vessels taken off."""
    air_changes_per_h: NotNegative = 0.0
    """Fresh air, in volumes of the room; 0 for a room that is shut."""
    mixing_divisor: Annotated[float, Field(ge=1)] | None = None
    """K by which ventilation manuals divide the air changes: 1 for perfect mixing, else more."""
    mixing_efficiency: Annotated[float, Field(gt=0, le=1)] | None = None
    """K by which explosion standards multiply the air changes: 1 for perfect mixing, else less."""
    release_minutes: NotNegative = 0.0
    """How long the gas takes to come out; 0 for at once."""
    limits: Limits = ()
    """Exposure limits to hold the answer against: a named set, or your own."""
    near_field_m3: Positive | None = None
    """Air around the person and the release, for the second answer; with interzonal_flow_m3_min."""
    interzonal_flow_m3_min: Positive | None = None
    """Air that moves between there and the rest of the room."""


class InAir(Part):
    """One component in the air, and how it stands to its limits (1 is the limit)."""

    gas: str
    peak_ppm: float
    twa_15min_ppm: float
    """Highest 15-minute mean."""
    twa_8h_ppm: float
    """Mean of the eight hours from the start of the release; of the worst eight if it lasts longer."""
    peak_ratio: float | None
    """Peak over the ceiling."""
    twa_15min_ratio: float | None
    twa_8h_ratio: float | None
    limit_source: str | None


class NearField(Part):
    """The air around the person who lets the gas out."""

    components: tuple[InAir, ...]
    oxygen_vol_pct_min: float


class RoomReleaseResult(Result):
    """The air of the room, well mixed, and that near the person where asked for."""

    components: tuple[InAir, ...]
    oxygen_vol_pct_min: float
    near_field: NearField | None


def check(request: RoomReleaseRequest) -> Iterator[Fault]:
    """What no single field can tell."""
    yield from composition_faults(request.components, request.balance)
    if balance_of(request.balance) == "carbon dioxide":
        problem = "has limits of its own; name it among the components, with nitrogen as the balance"
        yield Fault("balance", shown(request.balance), problem)
    if request.released_gas_l / 1000 > request.room_m3:
        problem = f"more gas than the room holds air ({request.room_m3:g} m3); check the units"
        yield Fault("released_gas_l", shown(request.released_gas_l), problem)
    if request.mixing_divisor is not None and request.mixing_efficiency is not None:
        problem = "stands beside mixing_divisor; they are two ways to say the same, write one"
        yield Fault("mixing_efficiency", shown(request.mixing_efficiency), problem)
    yield from _near_field_faults(request)
    yield from limit_faults(request.limits)


def _near_field_faults(request: RoomReleaseRequest) -> Iterator[Fault]:
    near, flow = request.near_field_m3, request.interzonal_flow_m3_min
    if near is not None and flow is None:
        yield Fault("interzonal_flow_m3_min", "", "missing; it belongs to near_field_m3")
    if flow is not None and near is None:
        yield Fault("near_field_m3", "", "missing; it belongs to interzonal_flow_m3_min")
    if near is not None and near >= request.room_m3:
        yield Fault("near_field_m3", shown(near), f"not smaller than the room ({request.room_m3:g} m3)")


def courses(request: RoomReleaseRequest) -> tuple[Course, Course | None]:
    """Share of released gas over time in the whole room, and near the person where that is asked for."""
    released = request.released_gas_l / 1000
    ventilation = _ventilation_m3_min(request)
    mixed = one_zone(
        released, request.room_m3, ventilation_m3_min=ventilation, release_min=request.release_minutes
    )
    if request.near_field_m3 is None or request.interzonal_flow_m3_min is None:
        return mixed, None
    zones = two_zones(
        released,
        request.room_m3,
        near_m3=request.near_field_m3,
        interzonal_m3_min=request.interzonal_flow_m3_min,
        ventilation_m3_min=ventilation,
        release_min=request.release_minutes,
    )
    return mixed, zones.near


def ppm_at(component: Component, share: float) -> float:
    """A component [ppm] in air of which a share is released gas; clean air holds oxygen of its own."""
    clean = CLEAN_AIR_OXYGEN_VOL_PCT if same_gas(component.gas, "oxygen") else 0.0
    return (clean + (component.share_pct - clean) * share) * PPM_PER_PCT


def solve(request: RoomReleaseRequest) -> RoomReleaseResult:
    """The air of the whole room, and of the near field where it is asked for."""
    whole, close = courses(request)
    mixed, near = whole.shares(), close.shares() if close else None
    return RoomReleaseResult(
        footing=_footing(request),
        cautions=tuple(_cautions(request, mixed, near)),
        components=_in_air(request, mixed),
        oxygen_vol_pct_min=_oxygen(request, mixed)[0],
        near_field=None
        if near is None
        else NearField(components=_in_air(request, near), oxygen_vol_pct_min=_oxygen(request, near)[0]),
    )


def _ventilation_m3_min(request: RoomReleaseRequest) -> float:
    flow = request.air_changes_per_h * request.room_m3 / 60
    if request.mixing_divisor is not None:
        return ventilation_divided(flow, request.mixing_divisor)
    if request.mixing_efficiency is not None:
        return ventilation_multiplied(flow, request.mixing_efficiency)
    return flow


def _in_air(request: RoomReleaseRequest, shares: Shares) -> tuple[InAir, ...]:
    return tuple(_component(request, component, shares) for component in request.components)


def _component(request: RoomReleaseRequest, component: Component, shares: Shares) -> InAir:
    # Oxygen of which the gas holds less than air does is highest where no gas has come.
    clean = ppm_at(component, 0.0)
    peak, short, long = (
        max(clean, ppm_at(component, share)) for share in (shares.peak, shares.mean_15min, shares.mean_8h)
    )
    limit = limit_of(request.limits, component.gas)
    return InAir(
        gas=component.gas,
        peak_ppm=peak,
        twa_15min_ppm=short,
        twa_8h_ppm=long,
        peak_ratio=_ratio(peak, limit.ceiling_ppm if limit else None),
        twa_15min_ratio=_ratio(short, limit.twa_15min_ppm if limit else None),
        twa_8h_ratio=_ratio(long, limit.twa_8h_ppm if limit else None),
        limit_source=limit.source if limit else None,
    )


def _ratio(value: float, limit: float | None) -> float | None:
    return None if limit is None else value / limit


def _oxygen(request: RoomReleaseRequest, shares: Shares) -> tuple[float, float]:
    """Least and most oxygen in the air [% vol]."""
    clean = CLEAN_AIR_OXYGEN_VOL_PCT
    there = clean + (oxygen_pct(request.components, request.balance, clean) - clean) * shares.peak
    return min(clean, there), max(clean, there)


def _unmixed_oxygen(request: RoomReleaseRequest) -> float:
    """Oxygen in the room [% vol] where gas let out at once pushes air out before it mixes."""
    clean = CLEAN_AIR_OXYGEN_VOL_PCT
    if request.release_minutes > 0:
        return clean
    released = request.released_gas_l / 1000
    own = oxygen_pct(request.components, request.balance, clean) * released / request.room_m3
    return displaced_oxygen_vol_pct(released, request.room_m3, clean) + own


def _pct_lfl(request: RoomReleaseRequest, shares: Shares) -> float:
    """Share of the LFL at the peak, each gas by the lower of its two tabulated limits."""
    parts = []
    for component in request.components:
        limits = [float(x) for basis in BASES if (x := lfl_vol_pct(component.gas, basis)) is not None]
        if limits:
            parts.append(100 * component.share_pct * shares.peak / min(limits))
    return math.fsum(parts)


def _footing(request: RoomReleaseRequest) -> tuple[str, ...]:
    lines = [
        "well mixed at constant pressure: V dC/dt = G (Cg - C) + Q (C0 - C)",
        f"clean air: {CLEAN_AIR_OXYGEN_VOL_PCT} % vol oxygen, none of the other components",
        "the gas is at the room's temperature and 1 atm",
    ]
    if request.mixing_divisor is not None:
        lines.append(f"air changes divided by K = {request.mixing_divisor:g} (ACGIH, Industrial Ventilation)")
    elif request.mixing_efficiency is not None:
        lines.append(f"air changes multiplied by K = {request.mixing_efficiency:g} (NFPA 69)")
    if request.near_field_m3 is not None:
        lines.append(
            "near field: two-zone model (M. Nicas, Am. Ind. Hyg. Assoc. J. 57 (1996) 542; AIHA, Mathematical "
            "Models for Estimating Occupational Exposure to Chemicals, 2nd ed. 2009), with the gas's own flow"
        )
    if isinstance(request.limits, str):
        named = SETS[request.limits]
        lines.append(
            f"limits: {named.title} ({named.source}, {named.edition}); a ceiling is held against the peak, "
            "also where it is a mean over some minutes"
        )
    if request.release_minutes > 480:
        lines.append("the release lasts longer than 8 hours: the 8-hour mean is that of the worst eight")
    return tuple(lines)


def _cautions(request: RoomReleaseRequest, mixed: Shares, near: Shares | None) -> Iterator[str]:
    yield (
        "Perfect mixing hides the cloud at the release: "
        "keep the stream of gas away from the face, whatever the room's figures say."
    )
    if request.room_m3 < _SMALL_M3:
        yield "Do not test in a van, a cupboard or a cab: do it in a ventilated place."
    worst = near or mixed
    place = "near the person" if near else "in the room"
    least, most = _oxygen(request, worst)
    first = min(least, _unmixed_oxygen(request))
    if first < OXYGEN_LOW_VOL_PCT:
        before = f" ({first:.1f} before it mixes)" if first < least else ""
        yield (
            f"Oxygen {place} falls to {least:.1f} % vol{before}, below {OXYGEN_LOW_VOL_PCT} % vol, "
            "where an atmosphere counts as hazardous (29 CFR 1910.146(b))."
        )
    if most > OXYGEN_HIGH_VOL_PCT:
        yield (
            f"Oxygen {place} rises to {most:.1f} % vol, above {OXYGEN_HIGH_VOL_PCT} % vol, "
            "where things burn more readily (29 CFR 1910.146(b))."
        )
    if (burns := _pct_lfl(request, worst)) >= HAZARDOUS_PCT_LFL:
        yield f"Flammable gas {place} reaches {burns:.0f} % of its lower flammable limit: no ignition source."
    yield from _limit_cautions(request, worst, place)
    if any(same_gas(component.gas, "carbon dioxide") for component in request.components):
        yield "Clean air holds some 0.04 % vol of carbon dioxide already, which is not counted here."
    if balance_of(request.balance) == "helium":
        yield "Helium rises and gathers under the ceiling before it mixes."


def _limit_cautions(request: RoomReleaseRequest, worst: Shares, place: str) -> Iterator[str]:
    for found in _in_air(request, worst):
        ratios = [r for r in (found.peak_ratio, found.twa_15min_ratio, found.twa_8h_ratio) if r is not None]
        if ratios and max(ratios) > 1:
            yield f"{found.gas} {place} passes a limit ({found.limit_source}), {max(ratios):.2g} times."
        danger = idlh(found.gas)
        if danger is not None and found.peak_ppm > danger.ppm:
            yield (
                f"{found.gas} {place} reaches more than {danger.ppm:g} ppm, which is immediately dangerous: "
                f"{IDLH_SOURCE} ({KNOWN_WORDS[danger.known]})."
            )
    if isinstance(request.limits, str):
        none = [c.gas for c in request.components if limit_of(request.limits, c.gas) is None]
        none = [gas for gas in none if not same_gas(gas, "oxygen")]
        if none:
            title = SETS[request.limits].title
            yield f"No limit is known here for {', '.join(none)} ({title}); that does not make it harmless."
        yield "Limits change: the law of the place in its present edition comes first."


_H2S_CO: Final[list[dict[str, Any]]] = [
    {"gas": "carbon monoxide", "ppm": 100},
    {"gas": "hydrogen sulfide", "ppm": 25},
    {"gas": "methane", "vol_pct": 2.5},
    {"gas": "oxygen", "vol_pct": 18},
]

CALCULATION: Final = Calculation(
    "room-release",
    RoomReleaseRequest,
    RoomReleaseResult,
    solve,
    check,
    examples=(
        Example(
            "A 116 L cylinder of inert gas leaks empty in a closed van",
            {
                "released_gas_l": 116,
                "components": [{"gas": "hydrogen sulfide", "ppm": 25}],
                "balance": "nitrogen",
                "room_m3": 6,
            },
        ),
        Example(
            "The same cylinder in a cupboard",
            {
                "released_gas_l": 116,
                "components": [{"gas": "hydrogen sulfide", "ppm": 25}],
                "balance": "nitrogen",
                "room_m3": 1,
            },
        ),
        Example(
            "Four detectors tested in the cab of a lorry, windows shut",
            {
                "released_gas_l": 2,
                "components": _H2S_CO,
                "balance": "nitrogen",
                "room_m3": 2.5,
                "air_changes_per_h": 0.5,
                "release_minutes": 6,
                "near_field_m3": 0.3,
                "interzonal_flow_m3_min": 0.5,
            },
        ),
        Example(
            "A morning's tests at the bench of a ventilated workshop",
            {
                "released_gas_l": 15,
                "components": _H2S_CO,
                "balance": "nitrogen",
                "room_m3": 60,
                "air_changes_per_h": 3,
                "mixing_divisor": 3,
                "release_minutes": 30,
                "near_field_m3": 1,
                "interzonal_flow_m3_min": 3,
                "limits": "eh40",
            },
        ),
    ),
)
