"""From a failed test back to service: found, taken out, repaired, calibrated, tested, returned."""

from __future__ import annotations

from datetime import date, timedelta

from pitbird.demo import bumping
from pitbird.demo.bumping import Attempt
from pitbird.demo.entries import Body
from pitbird.demo.people import FAIL_NOTES, KEEPER, competent
from pitbird.demo.world import Unit, World
from pitbird.fleet.times import MINUTE


def record(world: World, unit: Unit, by: str, attempt: Attempt, *, delay: int | None = None) -> Body:
    """Write an attempt at a bump test as it was."""
    texts = dict(attempt.texts)
    if attempt.outcome == "failed" and world.rng.random() < 0.35:
        texts["note"] = world.rng.choice(FAIL_NOTES)
    body = world.write(
        "bump-test", unit, attempt.at, by, attempt.fields, about=attempt.about,
        texts=texts, delay=world.maybe_late(unit) if delay is None else delay, truth=attempt.truth,
    )  # fmt: skip
    if attempt.outcome == "failed":
        world.wear.found(unit.id, attempt.at, str(body["id"]))
    return body


def take_out(world: World, unit: Unit, entry: str, at: int, day: date, by: str) -> None:
    """A failed test or calibration takes a detector out of service; often somebody writes it down again."""
    unit.reasons = [entry]
    if world.rng.random() < 0.5:
        body = world.write("out-of-service", unit, at + world.minutes(5, 20), by, {"because": "failed"})
        unit.reasons.append(str(body["id"]))
    last = world.calendar.today(unit.place.zone) - timedelta(days=1)
    unit.repair_on = max(day + timedelta(days=1), min(day + timedelta(days=world.rng.randint(1, 6)), last))


def calibrate(world: World, unit: Unit, at: int, day: date, by: str) -> bool:
    """A calibration with as-found and as-left readings; false if a channel could not be brought within."""
    truth = world.wear.faults(unit.id, at)
    dead = {fault.part for fault in truth}
    stands = world.stands(unit, 0, at)
    channels = []
    for gas in unit.kind.gases:
        certified = next(c.mix.applied(gas) for _, c in stands if c.mix.key == gas.mix)
        applied, clean = float(certified), float(gas.clean_air)
        left = 0.25 if gas.name in dead else world.wear.parts[unit.id][gas.name].sensitivity(at)
        seen = clean + (applied - clean) * left * world.rng.gauss(1.0, 0.012)
        digits = 0 if gas.unit in {"ppm", "pct_lfl"} else 2 if gas.name == "CO2" else 1
        good = gas.name not in dead
        channels.append(
            {
                "channel": gas.name,
                "applied": certified,
                "as_found": f"{max(0.0, seen):.{digits}f}",
                "as_left": certified if good else f"{max(0.0, seen):.{digits}f}",
                "adjusted": "yes",
                "result": "within" if good else "outside",
            }
        )
    passed = all(channel["result"] == "within" for channel in channels)
    cylinders = list(dict.fromkeys(cylinder.id for _, cylinder in stands))
    for stand, cylinder in stands:
        cylinder.draw(120, stand.point.flow_l_min)
    body = world.write(
        "calibration", unit, at, by,
        {
            "cylinders": cylinders,
            "zeroed": "yes",
            "channels": channels,
            "tolerance_pct": "10",
            "certificate": f"CAL-{unit.number:03d}-{day:%y%m%d}",
            "result": "passed" if passed else "failed",
        },
        about=tuple(cylinders), truth=truth,
    )  # fmt: skip
    unit.calibrate_on = day + timedelta(days=world.rng.randint(88, 110))
    plan_calibration(world, unit, day)
    if passed:
        world.wear.calibrated(unit.id, at)
        return True
    world.wear.found(unit.id, at, str(body["id"]))
    take_out(world, unit, str(body["id"]), at, day, by)
    return False


def overdue_target(world: World, unit: Unit) -> date:
    """When the detector whose calibration is overdue on the last morning was calibrated last."""
    return world.calendar.today(unit.place.zone) - timedelta(days=188)


def plan_calibration(world: World, unit: Unit, day: date) -> None:
    """When a detector is calibrated next; the one that is forgotten is not calibrated again."""
    if unit.role == "calibration-overdue":
        target = overdue_target(world, unit)
        if day >= target:
            unit.calibrate_on = date.max
        elif unit.calibrate_on > target - timedelta(days=20):
            unit.calibrate_on = target


def renew(world: World, unit: Unit, at: int, day: date, by: str) -> None:
    """A detector of fixed life is replaced; the number goes on to the new one of the same type."""
    for episode in world.wear.episodes:
        if episode.fault.detector == unit.id and episode.until is None:
            episode.until = at  # type: ignore[assignment]
    unit.serial = world.new_serial(unit.kind)
    world.activate(unit, day)
    world.renew_parts(unit, at, 0.0)
    world.describe(unit, at, by)


def mend(world: World, unit: Unit, day: date, at: int) -> None:
    """A competent person repairs a detector, calibrates it, shows it gas and returns it to service."""
    by = competent(unit.place.id)
    if unit.kind.fixed_life:
        faults = world.wear.faults(unit.id, at)
        cause = faults[0].cause if faults else "other"
        if faults:
            channels = [gas.name for gas in unit.kind.gases]
            world.write("repaired", unit, at - MINUTE, by, {"cause": cause, "replaced": channels})
        renew(world, unit, at, day, KEEPER)
    else:
        cause, replaced = world.wear.mend(unit.id, at, unit.gases)
        fields: Body = {"cause": cause}
        if replaced:
            fields["replaced"] = list(replaced)
        world.write("repaired", unit, at, by, fields)
        for number, channel in enumerate(replaced):
            _new_sensor(world, unit, channel, at + (number + 1) * MINUTE, day, by)
        at += world.minutes(15, 40)
        if not calibrate(world, unit, at, day, by):
            return
    return_with_gas(world, unit, day, at + world.minutes(12, 30), by, cause)


def return_with_gas(world: World, unit: Unit, day: date, at: int, by: str, cause: str) -> bool:
    """Show gas, and on a pass answer every open reason."""
    stands = world.stands(unit, 0, at)
    attempt = bumping.bump(world.rng, unit.id, unit.kind, stands, at, world.wear.faults(unit.id, at))
    body = record(world, unit, by, attempt, delay=world.moment())
    unit.last_test = day
    if attempt.outcome == "failed":
        take_out(world, unit, str(body["id"]), attempt.at, day, by)
        return False
    if attempt.outcome == "spoiled":
        world.stock.change_empty(stands, attempt.at + MINUTE, day, by)
        return return_with_gas(world, unit, day, attempt.at + 5 * MINUTE, by, cause)
    world.write(
        "returned-to-service", unit, attempt.at + world.minutes(2, 8), by,
        {"answers": list(unit.reasons), "cause": cause, "tested": body["id"]},
    )  # fmt: skip
    unit.reasons, unit.repair_on = [], None
    return True


def _new_sensor(world: World, unit: Unit, channel: str, at: int, day: date, by: str) -> None:
    world.sensors += 1
    gas = unit.gases[channel]
    name = f"sensor:S-{world.sensors}"
    world.desk.write(
        "sensor", at, unit.place.zone, by, unit.place.id, (name, unit.id),
        {
            "sensor": name,
            "gas": gas.gas,
            "principle": gas.principle,
            "serial": f"{channel}-{world.rng.randrange(100_000, 999_999)}",
            "made": (day - timedelta(days=world.rng.randrange(40, 200))).isoformat(),
            "fitted_in": unit.id,
            "channel": channel,
        },
        delay=world.moment(),
    )  # fmt: skip
