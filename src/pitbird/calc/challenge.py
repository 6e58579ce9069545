"""Does this gas, for this long, set off every alarm that gas must show; what loss could the test miss?"""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import Annotated, Final, Literal

from pydantic import Field

from pitbird.calc.definition import Calculation, Example, Part, Request, Result
from pitbird.calc.fields import Basis, Many
from pitbird.record.faults import Fault, near, shown
from pitbird.science.challenge import values, wording
from pitbird.science.challenge.delivery import (
    SECONDS_PER_METRE,
    Delivery,
    delivery_cautions,
    diluted,
    dilution,
)
from pitbird.science.challenge.judging import (
    REQUIRED_PROBABILITY,
    AlarmFound,
    SensorFound,
    judge,
    problems_of,
)
from pitbird.science.challenge.readings import BEAD_OXYGEN_VOL_PCT, Model, Problem
from pitbird.science.challenge.windows import SOURCE
from pitbird.science.gases import EDITIONS, GASES
from pitbird.science.relative import MODEL as IN_WORDS
from pitbird.science.relative import model_response

# Bounds and gases stand in the schema and are held in ``check``, so that all faults come together.
Gas = Annotated[str, Field(json_schema_extra={"format": "gas"})]
NotNegative = Annotated[float, Field(json_schema_extra={"minimum": 0})]
Positive = Annotated[float, Field(json_schema_extra={"exclusiveMinimum": 0})]
Percent = Annotated[float, Field(json_schema_extra={"minimum": 0, "maximum": 100})]
Probability = Annotated[float, Field(json_schema_extra={"exclusiveMinimum": 0, "exclusiveMaximum": 1})]


class GasComponent(Part):
    """A component of the test gas as its certificate states it."""

    gas: Gas
    "Gas, by name or CAS number."
    amount: NotNegative
    "Certified amount, in its unit."
    unit: Literal["ppm", "vol_pct"]
    "ppm, or % by volume."
    expanded_uncertainty_pct: Percent = 0.0
    "Expanded uncertainty (k = 2), % of the amount."


class GasAsked(Part):
    """The test gas."""

    components: Many[GasComponent]
    "What the certificate lists."
    balance: str = "nitrogen"
    "What makes up the rest: nitrogen, air, argon or helium."


class AlarmSetting(Part):
    """An alarm as it is set."""

    name: str = Field(min_length=1)
    "Its name, such as A1."
    at: float
    "Set-point, in the sensor's unit; below the clean-air reading it is a falling alarm."
    shown_by: Literal["gas", "self-check", "none"] = "gas"
    "How a test shows it: by gas, by the detector's own check, or not at all."


class SensorAsked(Part):
    """A sensor of the detector."""

    name: str = Field(min_length=1)
    "Its name, such as H2S."
    gas: Gas
    "Gas it is set up for."
    principle: Literal["catalytic", "infrared", "electrochemical", "oxygen", "photoionisation", "other"]
    "How it senses."
    unit: Literal["ppm", "vol_pct", "pct_lfl"]
    "Unit of its readings: ppm, % by volume, or % of the lower flammable limit."
    clean_air_reading: NotNegative
    "Reading in clean air: 0 on most channels, 20.9 on oxygen."
    t90_s: Positive
    "Slowest t90 that counts as healthy."
    t90_fast_s: Positive | None = None
    "Fastest credible t90; that above where none is given."
    delay_s: NotNegative = 0.0
    "Delay before the reading moves (hose, pump), not part of t90."
    span_sd_pct: Percent = 0.0
    "Standard deviation of the span (sensitivity) between calibrations, %."
    relative_response: dict[str, float] = Field(default_factory=dict)
    "Reading / true value for other gases, from the manual, in place of the model."
    cross_sensitivity: dict[str, float] = Field(default_factory=dict)
    "Reading units per ppm of other gases; negative where they take off."
    alarms: Many[AlarmSetting]
    "Its alarms."


class ChallengeRequest(Request):
    """A test gas, how long it is on, and the sensors it is given to."""

    basis: Basis
    "Standard whose flammable limits the detector goes by."
    gas_on_s: Positive
    "How long the gas is on."
    required_probability: Probability = REQUIRED_PROBABILITY
    "Least probability with which every alarm must come."
    gas: GasAsked
    "The test gas."
    hose_m: NotNegative = 0.0
    "Length of the hose between regulator and detector."
    hose_s_per_m: Positive = SECONDS_PER_METRE
    "Time that the gas takes for each metre of it, as measured; the default is a rule of thumb."
    regulator_l_min: Positive | None = None
    "Flow of a fixed-flow regulator; leave it out for a demand-flow one."
    pump_l_min: Positive | None = None
    "What the detector's pump draws; leave it out for a detector without a pump."
    sensors: Many[SensorAsked]
    "The sensors of the detector."


class AlarmAnswer(Part):
    """What the gas does to one alarm."""

    name: str
    time_s: float | None
    "From gas on, delay included, at the certified value and t90_s; null if never."
    time_lean_s: float | None
    "The same at the lean end of the certificate's uncertainty."
    trips: bool
    "Whether time_lean_s is within gas_on_s."
    probability: float
    "That it comes within gas_on_s at t90_s: certified value and span normal and independent."
    undetected_loss: float | None
    "Largest loss of sensitivity that would still pass, as a fraction; null where the alarm does not trip."
    slowest_t90_s: float | None
    "Largest t90 that would still pass at the certified value and full sensitivity."


class SensorAnswer(Part):
    """What the gas does to one sensor."""

    name: str
    final_reading: float
    "Where its reading would end, all components counted, in its unit."
    own_gas_reading: float
    "Where it would end by its own gas alone, on which its alarms are judged."
    alarms: tuple[AlarmAnswer, ...]


class ChallengeResult(Result):
    """Whether the gas suits, and what is wrong with it."""

    suits: bool
    "Whether every alarm shown by gas trips, with the required probability at least."
    problems: tuple[str, ...]
    "What is wrong with this test, in sentences; empty where nothing is."
    share_of_test_gas: float
    "Share of test gas in what reaches the sensors, as a fraction; the rest is air drawn in beside it."
    hose_delay_s: float
    "Time in the hose; it is in every time of an alarm."
    sensors: tuple[SensorAnswer, ...]


#: What a bead reads of another vapour where no factor is given.
MODEL: Final[Model] = model_response


def _mixture(gas: GasAsked) -> values.Mixture:
    return values.Mixture(
        tuple(values.Component(c.gas, c.amount, c.unit, c.expanded_uncertainty_pct) for c in gas.components),
        gas.balance,
    )


def _sensor(asked: SensorAsked) -> values.Sensor:
    return values.Sensor(
        name=asked.name,
        gas=asked.gas,
        principle=asked.principle,
        unit=asked.unit,
        clean_air_reading=asked.clean_air_reading,
        t90_s=asked.t90_s,
        alarms=tuple(values.Alarm(alarm.name, alarm.at, alarm.shown_by) for alarm in asked.alarms),
        t90_fast_s=asked.t90_fast_s,
        delay_s=asked.delay_s,
        span_sd_pct=asked.span_sd_pct,
        relative_response=tuple(asked.relative_response.items()),
        cross_sensitivity=tuple(asked.cross_sensitivity.items()),
    )


def _delivery(request: ChallengeRequest) -> Delivery:
    share = 1.0
    if request.regulator_l_min is not None and request.pump_l_min is not None:
        share = dilution(request.regulator_l_min, request.pump_l_min).share
    return Delivery(share, request.hose_m, request.hose_s_per_m)


def _flows_at_fault(request: ChallengeRequest) -> Iterator[Fault]:
    for name in ("regulator_l_min", "pump_l_min"):
        flow = getattr(request, name)
        if flow is not None and not (isfinite(flow) and flow > 0):
            yield Fault(name, shown(flow), "must be more than 0 L/min")


def _fault(problem: Problem) -> Fault:
    value = "" if problem.value == "" else shown(problem.value)
    words = problem.problem
    if problem.unknown_gas:
        words += near(problem.unknown_gas, [name for gas in GASES for name in (gas.name, *gas.other_names)])
    return Fault(problem.where, value, words)


def check(request: ChallengeRequest) -> Iterator[Fault]:
    """All that is wrong with the numbers, the gases, the sensors, and the sensors in this gas, at once."""
    sensors = [_sensor(asked) for asked in request.sensors]
    flows = list(_flows_at_fault(request))
    found = problems_of(
        _mixture(request.gas),
        sensors,
        basis=request.basis,
        gas_on_s=request.gas_on_s,
        required_probability=request.required_probability,
        model=MODEL,
        delivery=Delivery(1.0, request.hose_m, request.hose_s_per_m) if flows else _delivery(request),
    )
    yield from flows
    yield from map(_fault, found)


def solve(request: ChallengeRequest) -> ChallengeResult:
    """See ``pitbird.science.challenge.judging.judge``."""
    mixture = _mixture(request.gas)
    sensors = [_sensor(asked) for asked in request.sensors]
    basis, on, required = request.basis, request.gas_on_s, request.required_probability
    delivery = _delivery(request)
    found = judge(
        mixture,
        sensors,
        basis=basis,
        gas_on_s=on,
        required_probability=required,
        model=MODEL,
        delivery=delivery,
    )
    reached = diluted(mixture, delivery.share) if delivery.share < 1 else mixture
    told = wording.problems(
        found, reached, basis=basis, gas_on_s=on, required_probability=required, model=MODEL
    )
    return ChallengeResult(
        footing=tuple(_footing(request)),
        cautions=(
            *wording.cautions(found, reached, basis=basis, gas_on_s=on, model=MODEL),
            *delivery_cautions(mixture, sensors, delivery),
            *_flow_cautions(request),
        ),
        suits=found.suits,
        problems=(*_dilution_told(request), *told),
        share_of_test_gas=delivery.share,
        hose_delay_s=delivery.delay_s,
        sensors=tuple(map(_answered, found.sensors)),
    )


def _dilution_told(request: ChallengeRequest) -> Iterator[str]:
    if request.regulator_l_min is not None and request.pump_l_min is not None:
        finding = dilution(request.regulator_l_min, request.pump_l_min).finding
        if finding:
            yield finding


def _flow_cautions(request: ChallengeRequest) -> Iterator[str]:
    if request.pump_l_min is not None and request.regulator_l_min is None:
        yield (
            "No flow of a fixed-flow regulator is given: it is taken to give all that the pump draws, as a "
            "demand-flow one does."
        )
    elif request.pump_l_min is not None:
        yield (
            "The flows are those stated: a pump draws more on a short hose and a regulator gives less as the "
            "cylinder runs down; where they are close, measure them."
        )


def _answered(one: SensorFound) -> SensorAnswer:
    return SensorAnswer(
        name=one.sensor.name,
        final_reading=one.reading.final,
        own_gas_reading=one.reading.own,
        alarms=tuple(map(_alarm, one.alarms)),
    )


def _alarm(alarm: AlarmFound) -> AlarmAnswer:
    return AlarmAnswer(
        name=alarm.name,
        time_s=alarm.time_s,
        time_lean_s=alarm.time_lean_s,
        trips=alarm.trips,
        probability=alarm.probability,
        undetected_loss=alarm.undetected_loss,
        slowest_t90_s=alarm.slowest_t90_s,
    )


def _footing(request: ChallengeRequest) -> Iterator[str]:
    yield f"Flammable limits: {EDITIONS[request.basis]}"
    yield "Response: first order with delay, tau = t90 / ln 10, from a step of gas at every sensor"
    yield (
        "Alarms are judged on the sensor's own gas (on a flammable channel: on all that burns, through its "
        "factors); a channel set off by another channel's gas proves nothing"
    )
    yield (
        "Probability: certified value (expanded uncertainty, k = 2) and span independent and normal, exact "
        "for their product; trips at the lean end and t90_s; undetected loss at the rich end and t90_fast_s"
    )
    delivery = _delivery(request)
    if delivery.hose_m:
        own = request.hose_s_per_m != SECONDS_PER_METRE
        source = "as given" if own else "a rule of thumb (HSE CEMHD1-2020, as summarised)"
        yield (
            f"Hose: {request.hose_m:g} m at {request.hose_s_per_m:g} s a metre, {source}, added to every "
            "time; gases that do not stick to it only"
        )
    if delivery.share < 1:
        yield (
            "Dilution: share of test gas = regulator flow / pump flow, the rest clean air; alarms are judged "
            "on what reaches the sensors, the loss a pass could hide on the gas as certified and without the "
            "hose"
        )
    elif delivery.hose_m:
        yield "The loss that a pass could hide is taken without the hose's delay, since it would hide more"
    if any(asked.principle == "catalytic" for asked in request.sensors):
        yield f"Other vapours on a bead, where no factor is given: {IN_WORDS}"
        yield (
            f"A bead needs the oxygen that burns the gas, and {BEAD_OXYGEN_VOL_PCT:g} % vol at least "
            "(stoichiometry; general handbook text)"
        )
    yield f"Guidance on strength and time: {SOURCE}"


QUAD: Final = Example(
    "A four-gas detector and its test gas",
    {
        "basis": "nfpa-497",
        "gas_on_s": 30,
        "gas": {
            "components": [
                {"gas": "methane", "amount": 2.5, "unit": "vol_pct", "expanded_uncertainty_pct": 2},
                {"gas": "carbon monoxide", "amount": 100, "unit": "ppm", "expanded_uncertainty_pct": 2},
                {"gas": "hydrogen sulfide", "amount": 25, "unit": "ppm", "expanded_uncertainty_pct": 5},
                {"gas": "oxygen", "amount": 18, "unit": "vol_pct", "expanded_uncertainty_pct": 1},
            ],
            "balance": "nitrogen",
        },
        "sensors": [
            {
                "name": "LEL",
                "gas": "methane",
                "principle": "catalytic",
                "unit": "pct_lfl",
                "clean_air_reading": 0,
                "t90_s": 30,
                "t90_fast_s": 15,
                "span_sd_pct": 5,
                "alarms": [{"name": "A1", "at": 20}, {"name": "A2", "at": 40}],
            },
            {
                "name": "CO",
                "gas": "carbon monoxide",
                "principle": "electrochemical",
                "unit": "ppm",
                "clean_air_reading": 0,
                "t90_s": 30,
                "t90_fast_s": 15,
                "span_sd_pct": 4,
                "alarms": [
                    {"name": "A1", "at": 30},
                    {"name": "A2", "at": 60},
                    {"name": "TWA", "at": 20, "shown_by": "none"},
                ],
            },
            {
                "name": "H2S",
                "gas": "hydrogen sulfide",
                "principle": "electrochemical",
                "unit": "ppm",
                "clean_air_reading": 0,
                "t90_s": 30,
                "t90_fast_s": 15,
                "span_sd_pct": 4,
                "alarms": [{"name": "A1", "at": 5}, {"name": "A2", "at": 10}],
            },
            {
                "name": "O2",
                "gas": "oxygen",
                "principle": "oxygen",
                "unit": "vol_pct",
                "clean_air_reading": 20.9,
                "t90_s": 15,
                "t90_fast_s": 8,
                "span_sd_pct": 1,
                "alarms": [{"name": "low", "at": 19.5}, {"name": "high", "at": 23.5, "shown_by": "none"}],
            },
        ],
    },
)

CALCULATION: Final = Calculation(
    "challenge", ChallengeRequest, ChallengeResult, solve, check, examples=(QUAD,)
)
