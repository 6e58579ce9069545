"""What happens once: gas gone weak, a suspected leak, a poisoned bead, a sensor that drifts, new firmware.

Each begins at its share of the whole history and only in a history long enough for its end.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from pitbird.demo.fleet import MIXES, Place
from pitbird.demo.gas import Stand
from pitbird.demo.people import KEEPER, competent
from pitbird.demo.wear import YEAR
from pitbird.demo.world import Unit, World
from pitbird.fleet.times import HOUR, MINUTE

SHORTEST_DAYS: Final = 120
_BEGINS: Final = {"weak-gas": 0.3, "poison": 0.36, "drift": 0.4, "leak": 0.55, "firmware": 0.6}
_UNTESTED: Final = (0.18, 0.47, 0.81)


def untested_is_due(world: World, day: date) -> bool:
    """Whether a detector has to go out untested on this day; each time is told once."""
    gone = (day - world.calendar.first_day("Atlantic/Azores")).days / world.days
    for part in _UNTESTED:
        name = f"untested-{part}"
        if gone >= part and name not in world.told and world.days >= SHORTEST_DAYS and day.weekday() < 5:
            world.told.add(name)
            return True
    return False


def tell(world: World, place: Place, day: date) -> None:
    """Begin at a site what is due to begin there."""
    _lay_by_old_gas(world, place, day)
    if world.days < SHORTEST_DAYS or day.weekday() > 3:
        return
    gone = (day - world.calendar.first_day(place.zone)).days / world.days
    base = world.calendar.base(day, place.zone)
    for name, part in _BEGINS.items():
        if gone < part or name in world.told:
            continue
        if name == "weak-gas" and place.id == "site:tarvela-works":
            stand = _stand(world, place, "fixed")
            world.stock.change(stand, base + (place.opens - 50) * MINUTE, day, competent(place.id))
            stand.now.weak_in = "hydrogen sulfide"
        elif name == "leak" and place.id == "site:ombrel-digesters":
            world.stock.leak(_stand(world, place, "fixed"), base + 15 * HOUR, competent(place.id))
        elif name == "poison" and place.id == "site:ombrel-digesters":
            unit = _ordinary(world, place, "5C")
            world.wear.strike(unit.id, "CH4", base + 11 * HOUR, "sensor-poisoned")
        elif name == "drift" and place.id == "site:tarvela-works":
            part_of = world.wear.parts[_ordinary(world, place, "4D").id]["H2S"]
            part_of.drift_per_year = 1.7
            part_of.calibrated = max(part_of.calibrated, base - YEAR // 6)
            part_of.settle()
        elif name != "firmware" or place.id != "site:hulmar-workshop":
            continue
        world.told.add(name)


def _stand(world: World, place: Place, flow: str) -> Stand:
    return next(
        s for s in world.stock.stands if s.place is place and s.point.mix == "four" and s.point.flow == flow
    )


def _ordinary(world: World, place: Place, kind: str) -> Unit:
    """A detector of that type at the site, one without a part on the last morning if there is one."""
    units = [u for u in world.at_site(place) if u.kind.key == kind]
    return next((u for u in units if not u.role and not u.reasons), units[-1])


def _lay_by_old_gas(world: World, place: Place, day: date) -> None:
    """A second cylinder stands in the workshop's cupboard; nobody looks at its date."""
    today = world.calendar.today(place.zone)
    due = day >= today - timedelta(days=150) and world.expired_spare is None
    if place.id != "site:hulmar-workshop" or not due:
        return
    base = world.calendar.base(day, place.zone)
    expires = today - timedelta(days=6)
    age = MIXES["four"].shelf_days - (expires - day).days
    cylinder = world.stock.receive(place, MIXES["four"], base + 5 * HOUR, day, KEEPER, age)
    point = _stand(world, place, "fixed").point
    world.expired_spare = Stand(point, place, cylinder)
    world.stock.of(
        "cylinder-opened", place.id, cylinder, base + 5 * HOUR + 10 * MINUTE, KEEPER,
        at_site=place.id, regulator=point.regulator, gauge_bar=cylinder.gauge(),
    )  # fmt: skip
