"""What is left in a cylinder: gas, tests and days, as far as the book knows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from pitbird.fleet.state import CylinderState, OtherState
from pitbird.fleet.times import DAY, Ms
from pitbird.rules.serving import number
from pitbird.services.knowing import Known, Now

#: Seconds of gas a test takes where no test on the cylinder says so yet: the trade's about 20 s, and some to
#: spare (common practice, no source).
USUAL_GAS_S: Final = 25.0
#: Flow of a regulator that is not described [L/min] (common practice, no source); said with the answer.
USUAL_FLOW_L_MIN: Final = 0.5
#: How finely a gauge of a small cylinder is read [bar]; ours.
GAUGE_BAR: Final = 1.0
FLOW_TOLERANCE_PCT: Final = 10.0
#: Days of testing from which on a pace can be told.
PACE_DAYS: Final = 7.0


@dataclass(frozen=True, slots=True)
class GasLeft:
    """What is left; every number is None where it cannot be said, and ``why`` says why.

    ``full`` is the usable share of a full cylinder [-]; ``since_gauge`` the tests made after the gauge was
    last read, whose gas is taken off already; ``assumed`` what was taken for granted.
    """

    usable_l: float | None = None
    full: float | None = None
    tests: int | None = None
    tests_low: int | None = None
    tests_high: int | None = None
    days: float | None = None
    gauge_bar: float | None = None
    gauge_at: Ms | None = None
    since_gauge: int = 0
    seconds_per_test: float = USUAL_GAS_S
    flow_l_min: float = USUAL_FLOW_L_MIN
    assumed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    why: tuple[str, ...] = ()


def gas_left(state: CylinderState, *, now: Ms, known: Known | None = None) -> GasLeft:
    """Tests and days left in a cylinder, from its certificate, its regulator and the gauge as last read.

    The amount is that of ``pitbird.calc.cylinder`` (real gas, down to the minimum usage pressure); a test
    takes as much gas as the tests on this cylinder took on average. Days follow from the pace since it was
    opened.
    """
    from pitbird.calc import cylinder as calculation
    from pitbird.calc.definition import Refused

    request, assumed, why = _request(state, known or Now())
    if why or request is None:
        return GasLeft(why=tuple(why), assumed=tuple(assumed))
    try:
        answer = calculation.CALCULATION.answer(request)
        whole = calculation.CALCULATION.answer({**request, "pressure_bar": _full(state, request)})
    except Refused as refused:
        return GasLeft(why=tuple(fault.problem for fault in refused.faults), assumed=tuple(assumed))
    gauge = state.gauges[0]
    since = sum(1 for test in state.recent if test.at > gauge.at)
    tests = max(answer.tests_left - since, 0)
    return GasLeft(
        usable_l=max(answer.usable_gas_l - since * answer.gas_per_test_l, 0.0),
        full=min(answer.usable_gas_l / whole.usable_gas_l, 1.0) if whole.usable_gas_l > 0 else None,
        tests=tests,
        tests_low=max((answer.tests_left_low or answer.tests_left) - since, 0),
        tests_high=max((answer.tests_left_high or answer.tests_left) - since, 0),
        days=_days(state, tests, now),
        gauge_bar=request["pressure_bar"],
        gauge_at=gauge.at,
        since_gauge=since,
        seconds_per_test=request["gas_on_s"],
        flow_l_min=request.get("flow_l_min") or request.get("demand_flow_l_min") or USUAL_FLOW_L_MIN,
        assumed=tuple(assumed),
        cautions=answer.cautions,
    )


def _request(state: CylinderState, known: Known) -> tuple[dict[str, Any] | None, list[str], list[str]]:
    """The request of the calculation, what it takes for granted, and what is missing for it."""
    why = []
    capacity, free, full = (
        number(text) for text in (state.water_capacity_l, state.free_gas_l, state.full_pressure_bar)
    )
    if capacity is None and (free is None or full is None):
        why.append("neither its water capacity nor its contents with the pressure when full are described")
    if not state.gauges or number(state.gauges[0].bar) is None:
        why.append("its gauge has not been read")
    if number(state.minimum_pressure_bar) is None:
        why.append("its minimum pressure is not described")
    if why:
        return None, [], why
    flow, kind, assumed = flow_of(state, known)
    seconds = state.gas_on_ms / state.tests / 1000 if state.tests and state.gas_on_ms else USUAL_GAS_S
    if not (state.tests and state.gas_on_ms):
        assumed.append(f"a test takes {USUAL_GAS_S:g} s of gas")
    request: dict[str, Any] = {
        "pressure_bar": number(state.gauges[0].bar),
        "minimum_pressure_bar": number(state.minimum_pressure_bar),
        "balance": state.balance,
        "gas_on_s": seconds,
        ("demand_flow_l_min" if kind == "demand" else "flow_l_min"): flow,
        "gauge_resolution_bar": GAUGE_BAR,
        "flow_tolerance_pct": FLOW_TOLERANCE_PCT,
    }
    if capacity is not None:
        request["water_capacity_l"] = capacity
    else:
        request |= {"free_gas_l": free, "full_pressure_bar": full}
    return request, assumed, []


def flow_of(state: CylinderState, known: Known) -> tuple[float, str, list[str]]:
    """Flow [L/min] and kind of the regulator on a cylinder, and what is taken for granted of it."""
    regulator = known.state(state.regulator) if state.regulator else None
    described = regulator.description if isinstance(regulator, OtherState) else {}
    flow = number(described.get("flow_l_min"))
    if flow is None:
        return USUAL_FLOW_L_MIN, "fixed", [f"a fixed flow of {USUAL_FLOW_L_MIN:g} L/min"]
    return flow, described.get("flow", "fixed"), []


def _full(state: CylinderState, request: dict[str, Any]) -> float:
    full = number(state.full_pressure_bar)
    readings = [value for gauge in state.gauges if (value := number(gauge.bar)) is not None]
    return full if full is not None else max([*readings, request["pressure_bar"]])


def _days(state: CylinderState, tests: int, now: Ms) -> float | None:
    """Days until it is empty at the pace of the tests made on it since it was opened."""
    if state.opened_at is None or not state.tests:
        return None
    age = (now - state.opened_at) / DAY
    return tests * age / state.tests if age >= PACE_DAYS else None
