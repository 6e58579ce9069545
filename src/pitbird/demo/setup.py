"""The first entries: the book, sites, people, detectors, gas, training, rules; and who plays which part."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any, Final

from pitbird.demo.days import train
from pitbird.demo.entries import instant
from pitbird.demo.fleet import SITES, TITLE
from pitbird.demo.mending import overdue_target
from pitbird.demo.people import KEEPER, LAPSES_AT_THE_END, LAPSES_FOR_A_WHILE, PEOPLE, competent
from pitbird.demo.stories import SHORTEST_DAYS
from pitbird.demo.world import TWO_YEARS, Unit, World
from pitbird.fleet.times import DAY, local

PARTS: Final[tuple[tuple[str, str, str], ...]] = (
    ("out-failed", "site:ombrel-digesters", "4P"),
    ("out-damaged", "site:hulmar-workshop", "4P"),
    ("fails-today", "site:tarvela-works", "4P"),
    ("dropped-today", "site:tarvela-works", "4P"),
    ("handed-over", "site:ombrel-digesters", "4D"),
    ("lapsed-tester", "site:ombrel-digesters", "4D"),
    ("expired-gas", "site:hulmar-workshop", "4D"),
    ("not-every-channel", "site:ombrel-digesters", "5C"),
    ("spoiled-only", "site:ribalva-sewers", "4D"),
    ("issued-untested", "site:ribalva-sewers", "4P"),
    ("dead-in-store", "site:hulmar-workshop", "4P"),
    ("long-in-store", "site:hulmar-workshop", "5C"),
    ("dies-after-test", "site:tarvela-works", "4D"),
    ("calibration-overdue", "site:tarvela-works", "4D"),
    ("life-ended", "site:tarvela-works", "1H"),
    ("life-ending", "site:ombrel-digesters", "1H"),
)
"""The parts of the last morning: what is to be seen there, at which site, on which type of detector."""


def begin(world: World, rules_document: dict[str, Any], rules_id: str) -> None:
    """Write the first entries, seconds apart; before the working days begin."""
    step = max(1, min(7_000, (world.end - world.start) // 4_000))
    at: int = world.start
    home = next(place for place in SITES if place.id == "site:hulmar-workshop")
    today = local(world.start, home.zone).date()
    genesis = world.desk.write(
        "genesis", at, home.zone, KEEPER, None, (),
        {"title": TITLE, "format": "pitbird-book/1", "begun": today.isoformat()},
    )  # fmt: skip
    genesis["book"] = f"book:{genesis['id']}"
    genesis["about"] = [genesis["book"]]
    for place in SITES:
        at += step
        world.desk.write(
            "site", at, place.zone, KEEPER, place.id, (place.id,),
            {"site": place.id, "name": place.name, "site_zone": place.zone, "change_overs": ["04:00"]},
        )  # fmt: skip
    for body in PEOPLE:
        at += step
        world.desk.write(
            "person", at, world.places[body.home].zone, KEEPER, body.home, (body.id,),
            {"person": body.id, "roles": list(body.roles), "home": body.home},
            texts={"name": body.name},
        )  # fmt: skip
    at = _train_all(world, at + step, step, today)
    sites = [place.id for place in SITES]
    rules = "rules:" + rules_id.removeprefix("rules:")
    world.desk.write(
        "rules-adopted", at, home.zone, KEEPER, home.id, (rules, *sites),
        {"rules": rules, "sites": sites, "effective": instant(at), "document": rules_document},
    )  # fmt: skip
    at = world.stock.set_up(world.places, at + step, step, today)
    _give_parts(world)
    for unit in world.units:
        _first_entries(world, unit, at, today)
        at += 3 * step


def _train_all(world: World, at: int, step: int, today: date) -> int:
    rng = world.rng
    for body in PEOPLE:
        place = world.places[body.home]
        topics = [("bump-test", "tester"), ("wearing", "wearer"), ("calibration", "competent")]
        topics.append(("train-the-trainer", "trainer"))
        for topic, role in topics:
            if role not in body.roles:
                continue
            holds = rng.randrange(150, 700)
            if (body.id, topic) == (LAPSES_AT_THE_END, "bump-test"):
                holds = (world.calendar.today(place.zone) - today).days - 12
            if (body.id, topic) == (LAPSES_FOR_A_WHILE, "bump-test") and world.days >= SHORTEST_DAYS:
                holds = world.days // 2
            train(world, body.id, place, topic, at, today, holds)
            at += step
    return at


def _give_parts(world: World) -> None:
    for role, site, kind in PARTS:
        free = [u for u in world.units if (u.place.id, u.kind.key, u.role) == (site, kind, "")]
        if free:
            free[0].role = role


def _first_entries(world: World, unit: Unit, at: int, today: date) -> None:
    """A detector's description, the calibration carried over from before the book, and its wearer."""
    rng = world.rng
    age = rng.uniform(0.1, 2.2)
    last = world.calendar.today(unit.place.zone)
    if unit.kind.fixed_life:
        begun = today - timedelta(days=rng.randrange(10, TWO_YEARS - 40))
        ends = {"life-ended": 2, "life-ending": -12}.get(unit.role)
        if ends is not None:
            begun = last - timedelta(days=ends + TWO_YEARS)
            while begun > today:
                begun -= timedelta(days=TWO_YEARS)
        elif (last - (begun + timedelta(days=TWO_YEARS))).days in range(-25, 8):
            begun -= timedelta(days=60)
        world.activate(unit, begun)
        age = (today - begun).days / 365
    world.renew_parts(unit, at, age)
    world.describe(unit, at, KEEPER)
    unit.last_test = today - timedelta(days=rng.randrange(1, 20))
    if not unit.kind.fixed_life:
        _carry_over(world, unit, at, today)
    if unit.personal:
        world.hand_out(unit, unit.personal, at + 1, KEEPER)


def _carry_over(world: World, unit: Unit, at: int, today: date) -> None:
    days = world.rng.randrange(3, 90)
    unit.calibrate_on = today + timedelta(days=max(2, world.rng.randint(92, 110) - days))
    if unit.role == "calibration-overdue":
        target = overdue_target(world, unit)
        if target <= today:
            days = max(1, (today - target).days)
            unit.calibrate_on = date.max
        elif unit.calibrate_on > target - timedelta(days=20):
            unit.calibrate_on = target
    if days * DAY > at:
        days = 1
    gases = unit.kind.gases
    world.write(
        "calibration", unit, at - days * DAY, competent(unit.place.id),
        {
            "zeroed": "yes",
            "channels": [
                {"channel": gas.name, "applied": gas.applied, "as_left": gas.applied, "result": "within"}
                for gas in gases
            ],
            "tolerance_pct": "10",
            "result": "passed",
        },
        texts={"note": "Carried over from the paper record; the cylinder was not written down."},
        delay=days * DAY + 500,
    )  # fmt: skip
    for gas in gases:
        part = world.wear.parts[unit.id][gas.name]
        part.calibrated = at - days * DAY
        part.settle()
