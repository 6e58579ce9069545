"""What a challenge comes to, in sentences: problems to act on, and cautions to heed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from pitbird.science.challenge.judging import AlarmFound, Found, SensorFound, alarm_found
from pitbird.science.challenge.readings import (
    TRACE_PCT_LFL,
    Model,
    NotJudged,
    mixture_pct_lfl,
    read,
)
from pitbird.science.challenge.response import gain
from pitbird.science.challenge.values import PPM_PER_VOL_PCT, Mixture, Sensor, canonical, pct_lfl
from pitbird.science.challenge.windows import MOST_PCT_LFL, NAMED_TOXIC, in_words, outside
from pitbird.science.gases import IEC, NFPA, lfl_vol_pct, same_gas

#: Below this, % vol, readings of a bead are in doubt (general handbook text: no decision under 10 to 12).
DOUBTFUL_OXYGEN_VOL_PCT: Final = 12.0
#: Share of the own step from which other components are worth a sentence.
CROSS_SHARE: Final = 0.02
#: Gases whose response on a bead the diffusion-limited model does not give well.
OFF_MODEL: Final = ("hydrogen", "carbon monoxide", "ammonia")

FIRST: Final = "The instrument's own manual, local rules and licensed practice come first."
SHOWS: Final = (
    "A pass shows that gas reached the sensors and that the alarms came; it says nothing of accuracy, nor of "
    "the hours after it."
)
FRESH_AIR: Final = (
    "{name}: a fresh-air set scales what the oxygen cell gives to 20.9 % vol, so a cell with half its output "
    "gone still passes this test after such a set; watch what the set itself had to change."
)
PARTIAL_PRESSURE: Final = (
    "{name}: a galvanic cell with a membrane senses partial pressure: at another pressure than at its set, "
    "reading and step change in proportion (10 % lower, clean air reads 18.8 % vol); one with a capillary "
    "does not."
)


def problems(
    found: Found,
    mixture: Mixture,
    *,
    basis: str,
    gas_on_s: float,
    required_probability: float,
    model: Model | None = None,
) -> tuple[str, ...]:
    """What is wrong with a test by this gas for this long, one sentence each; empty where nothing is.

    Where the gas does not suit, at least one of them says why.
    """
    said = list(_of_mixture(found, mixture, basis))
    if not any(alarm.shown_by == "gas" for one in found.sensors for alarm in one.alarms):
        said.append("No alarm of this detector is to be shown by gas: nothing is shown by this test.")
    for one in found.sensors:
        said += _of_alarms(one, mixture, gas_on_s, required_probability)
        said += _of_window(one, mixture, basis, gas_on_s)
        said += _of_cross_effects(one, gas_on_s)
        said += _of_other_vapours(one, mixture)
        said += [text for text, serious in _of_basis(one, mixture, basis, gas_on_s, model) if serious]
    return tuple(said)


def cautions(
    found: Found, mixture: Mixture, *, basis: str, gas_on_s: float, model: Model | None = None
) -> tuple[str, ...]:
    """What to heed when using the numbers."""
    said = [FIRST, SHOWS]
    certain = [c.gas for c in mixture.components if c.expanded_uncertainty_pct == 0]
    if certain:
        said.append(
            f"No uncertainty is stated for {', '.join(certain)}: lean end and rich end are taken as the "
            "certified value; put in that of the certificate."
        )
    for one in found.sensors:
        said += _of_sensor(one)
        said += [text for text, serious in _of_basis(one, mixture, basis, gas_on_s, model) if not serious]
    return tuple(said)


def _of_mixture(found: Found, mixture: Mixture, basis: str) -> Iterator[str]:
    total, oxygen = mixture_pct_lfl(mixture, basis), mixture.oxygen_vol_pct
    if total >= 100 and oxygen >= 5:
        yield (
            f"The mixture is {total:.3g} %LFL and holds {oxygen:.3g} % vol oxygen: it may burn in the "
            "cylinder; check the figures against the certificate."
        )
    bead = any(one.sensor.principle == "catalytic" for one in found.sensors)
    if bead and total >= TRACE_PCT_LFL and oxygen < DOUBTFUL_OXYGEN_VOL_PCT:
        yield (
            f"The mixture holds {oxygen:.3g} % vol oxygen, which is little for a bead: readings under 10 to "
            "12 % vol are in doubt."
        )


def _asked(one: SensorFound) -> list[AlarmFound]:
    return [alarm for alarm in one.alarms if alarm.shown_by == "gas"]


def _of_alarms(one: SensorFound, mixture: Mixture, gas_on_s: float, required: float) -> Iterator[str]:
    sensor = one.sensor
    asked = _asked(one)
    if not asked:
        yield f"{sensor.name}: none of its alarms is to be shown by gas: this test says nothing of it."
        return
    if not any(term.own and term.adds for term in one.reading.terms) and not asked[0].falling:
        blind = [c.gas for c in mixture.components if canonical(c.gas) == "hydrogen"]
        why = (
            f" (an infrared sensor does not see {blind[0]})"
            if blind and sensor.principle == "infrared"
            else ""
        )
        yield (
            f"{sensor.name}: wrong gas: nothing in the mixture is this channel's own, {sensor.gas}{why}; a "
            "channel set off by another gas proves nothing."
        )
        return
    for alarm in asked:
        yield from _of_alarm(one, alarm, gas_on_s, required)


def _of_alarm(one: SensorFound, alarm: AlarmFound, gas_on_s: float, required: float) -> Iterator[str]:
    sensor, unit = one.sensor, in_words(one.sensor.unit)
    name = f"{sensor.name}, alarm {alarm.name} at {alarm.at:g} {unit}"
    lean_end = one.reading.own_high if alarm.falling else one.reading.own_low
    if alarm.time_s is None:
        yield (
            f"{name}: out of reach: this gas, too weak for it, brings the reading from "
            f"{sensor.clean_air_reading:g} to {one.reading.own:.4g} {unit} at most."
        )
    elif alarm.time_lean_s is None:
        yield (
            f"{name}: out of reach at the lean end of the certificate's uncertainty, where the reading ends "
            f"at {lean_end:.4g} {unit}: too weak."
        )
    elif not alarm.trips:
        yield (
            f"{name}: comes after {alarm.time_lean_s:.3g} s with the leanest gas and a t90 of "
            f"{sensor.t90_s:g} s; the gas is on for {gas_on_s:g} s."
        )
    elif alarm.probability < required:
        yield (
            f"{name}: comes in time with a probability of {alarm.probability:.4g}; {required:g} is required."
        )


def _of_window(one: SensorFound, mixture: Mixture, basis: str, gas_on_s: float) -> Iterator[str]:
    if one.window is None or not any(term.own for term in one.reading.terms):
        return
    (alarm,) = [alarm for alarm in one.alarms if alarm.name == one.window.alarm]
    yield from outside(one.window, one.sensor, one.reading.own, gas_on_s, alarm.time_s)
    strength = mixture_pct_lfl(mixture, basis)
    if one.sensor.flammable and strength > MOST_PCT_LFL >= _as_pct_lfl(one, basis):
        yield (
            f"{one.sensor.name}: the mixture is {strength:.3g} %LFL, more than its reading shows; advised "
            f"are {MOST_PCT_LFL:g} %LFL at most ({one.window.source})."
        )


def _as_pct_lfl(one: SensorFound, basis: str) -> float:
    """The own reading on the scale of its own gas, in %LFL."""
    if one.sensor.unit == "pct_lfl":
        return one.reading.own
    vol_pct = one.reading.own / (PPM_PER_VOL_PCT if one.sensor.unit == "ppm" else 1.0)
    return pct_lfl(one.sensor.gas, vol_pct, basis) or 0.0


def _of_cross_effects(one: SensorFound, gas_on_s: float) -> Iterator[str]:
    """What the components that are not its own do to the hardest alarm that gas must show."""
    asked, sensor = _asked(one), one.sensor
    if not asked or not any(term.own for term in one.reading.terms):
        return
    alarm = max(asked, key=lambda alarm: abs(alarm.at - sensor.clean_air_reading))
    step, _, rich = one.reading.ends(sensor, falling=alarm.falling)
    cross = (one.reading.final - one.reading.own) * (-1 if alarm.falling else 1)
    if abs(cross) < CROSS_SHARE * abs(step):
        return
    unit, need = in_words(sensor.unit), abs(alarm.at - sensor.clean_air_reading)
    size = f"{abs(one.reading.final - one.reading.own):.3g} {unit}"
    if cross < 0:
        shown = (step + cross) * gain(gas_on_s, sensor.t90_s, sensor.delay_s)
        if alarm.trips and shown < need:
            yield (
                f"{sensor.name}: other components take {size} off its reading and hide alarm {alarm.name}: a "
                "good sensor would fail with this gas."
            )
        else:
            yield f"{sensor.name}: other components take {size} off its reading."
    elif alarm.undetected_loss is not None:
        shown = gain(gas_on_s, sensor.fast_s, sensor.delay_s)
        loss = min(1.0, 1 - (need / shown - cross) / rich)
        yield (
            f"{sensor.name}: other components help by {size}: alarm {alarm.name} could come with "
            f"{100 * loss:.3g} % of the response to its own gas lost, not {100 * alarm.undetected_loss:.3g} "
            "%."
        )
    else:
        yield f"{sensor.name}: other components help by {size}; that proves nothing."


def _of_other_vapours(one: SensorFound, mixture: Mixture) -> Iterator[str]:
    sensor = one.sensor
    if sensor.principle != "catalytic" or not one.reading.own or not same_gas(sensor.gas, "methane"):
        return
    if not any(same_gas(component.gas, "methane") and component.amount for component in mixture.components):
        yield (
            f"{sensor.name}: shown without methane: a poisoned bead loses methane first and may still see "
            "other vapours well; where methane is among the hazards, test with methane."
        )


def _of_basis(
    one: SensorFound, mixture: Mixture, basis: str, gas_on_s: float, model: Model | None
) -> Iterator[tuple[str, bool]]:
    """Where the two LFL bases part: the sentence, and whether it is a problem here.

    It is one where an alarm comes on one basis and not on the other, and where the amount is a round figure
    on the other basis only, so that the cylinder was probably made for that one.
    """
    sensor = one.sensor
    if sensor.unit != "pct_lfl":
        return
    other = NFPA if basis == IEC else IEC
    turns = _turns(one, mixture, other, gas_on_s, model)
    for component in mixture.components:
        here, there = (pct_lfl(component.gas, component.vol_pct, b) for b in (basis, other))
        if here is None or there is None or max(here, there) < TRACE_PCT_LFL:
            continue
        if abs(here / there - 1) < 0.01 or not any(
            same_gas(t.gas, component.gas) and t.own for t in one.reading.terms
        ):
            continue
        limits = [float(lfl_vol_pct(component.gas, b) or 0) for b in (basis, other)]
        text = (
            f"{sensor.name}: {component.vol_pct:.4g} % vol {component.gas} is {here:.3g} %LFL on {basis} "
            f"(LFL {limits[0]:g} % vol) and {there:.3g} %LFL on {other} (LFL {limits[1]:g} % vol): labelled "
            f"{there:.3g} %LFL, it reads {here:.3g} on a detector set on {limits[0]:g} % vol, "
            f"{abs(100 * (here / there - 1)):.2g} % {'less' if here < there else 'more'}; label and detector "
            "must go by one basis."
        )
        yield text, turns or (_is_round(there) and not _is_round(here))


def _is_round(percent: float) -> bool:
    return abs(percent / 5 - round(percent / 5)) < 0.02


def _turns(one: SensorFound, mixture: Mixture, other: str, gas_on_s: float, model: Model | None) -> bool:
    """Whether an alarm that gas must show comes on one basis and not on the other."""
    try:
        reading = read(one.sensor, mixture, other, model)
    except NotJudged:
        return False
    pairs = zip(one.sensor.alarms, one.alarms, strict=True)
    return any(
        alarm_found(one.sensor, alarm, reading, gas_on_s).trips != here.trips
        for alarm, here in pairs
        if alarm.shown_by == "gas"
    )


def _of_sensor(one: SensorFound) -> Iterator[str]:
    sensor = one.sensor
    name = sensor.name
    if sensor.t90_fast_s is None:
        yield (
            f"{name}: no fastest credible t90 is stated, so the loss that this test can miss is that at "
            f"{sensor.t90_s:g} s; with a faster sensor it is larger."
        )
    if one.reading.left_out:
        traces = ", ".join(one.reading.left_out)
        yield f"{name}: traces of {traces}, below 1 %LFL, are left out; they could help a little."
    off = [t.gas for t in one.reading.terms if t.own and canonical(t.gas) in OFF_MODEL and t.adds]
    off = [gas for gas in off if not same_gas(gas, sensor.gas)]
    if sensor.principle == "catalytic" and off and _weighs(one, off):
        yield f"{name}: the model does not give {', '.join(off)} well; put in the factor of the manual."
    if sensor.principle == "photoionisation":
        yield f"{name}: its factors hold for one lamp energy; take those for the lamp that is in it."
    if canonical(sensor.gas) == "oxygen":
        yield FRESH_AIR.format(name=name)
        yield PARTIAL_PRESSURE.format(name=name)
    if one.window is not None and _not_named(sensor):
        yield f"{name}: {one.window.source} does not name {sensor.gas}; its window for toxic gases is used."


def _weighs(one: SensorFound, gases: list[str]) -> bool:
    return sum(t.adds for t in one.reading.terms if t.gas in gases) > CROSS_SHARE * one.reading.own


def _not_named(sensor: Sensor) -> bool:
    toxic = not sensor.flammable and canonical(sensor.gas) != "oxygen"
    return toxic and canonical(sensor.gas) not in NAMED_TOXIC
