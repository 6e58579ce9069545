"""Does this gas, for this long, set off every alarm that gas must show; what loss could the test miss?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Final, Literal

from pydantic import Field

from pitbird.calc.definition import Calculation, Example, Part, Request, Result
from pitbird.calc.fields import Basis, Many
from pitbird.record.faults import Fault, near, shown
from pitbird.science.challenge import values, wording
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


def _fault(problem: Problem) -> Fault:
    value = "" if problem.value == "" else shown(problem.value)
    words = problem.problem
    if problem.unknown_gas:
        words += near(problem.unknown_gas, [name for gas in GASES for name in (gas.name, *gas.other_names)])
    return Fault(problem.where, value, words)


def check(request: ChallengeRequest) -> Iterator[Fault]:
    """All that is wrong with the numbers, the gases, the sensors, and the sensors in this gas, at once."""
    sensors = [_sensor(asked) for asked in request.sensors]
    found = problems_of(
        _mixture(request.gas),
        sensors,
        basis=request.basis,
        gas_on_s=request.gas_on_s,
        required_probability=request.required_probability,
        model=MODEL,
    )
    yield from map(_fault, found)


def solve(request: ChallengeRequest) -> ChallengeResult:
    """See ``pitbird.science.challenge.judging.judge``."""
    mixture = _mixture(request.gas)
    sensors = [_sensor(asked) for asked in request.sensors]
    basis, on, required = request.basis, request.gas_on_s, request.required_probability
    found = judge(mixture, sensors, basis=basis, gas_on_s=on, required_probability=required, model=MODEL)
    return ChallengeResult(
        footing=tuple(_footing(request)),
        cautions=wording.cautions(found, mixture, basis=basis, gas_on_s=on, model=MODEL),
        suits=found.suits,
        problems=wording.problems(
            found, mixture, basis=basis, gas_on_s=on, required_probability=required, model=MODEL
        ),
        sensors=tuple(map(_answered, found.sensors)),
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
