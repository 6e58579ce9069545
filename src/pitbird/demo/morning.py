"""The last morning: half of the fleet is tested and goes out, and every reason why not is to be seen.

Whatever hour the story ends at, the tests lie in the last three hours of it and after the site's last
change-over, unless that was only a minute or two ago.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from pitbird.demo import bumping, mending
from pitbird.demo.bumping import Attempt
from pitbird.demo.entries import instant
from pitbird.demo.fleet import Place
from pitbird.demo.people import KEEPER, LAPSES_AT_THE_END
from pitbird.demo.world import Unit, World
from pitbird.fleet.times import DAY, HOUR, MINUTE

_NO_TEST: Final = frozenset(
    {"out-failed", "out-damaged", "dead-in-store", "long-in-store", "issued-untested"}
)
_TESTED: Final = frozenset(
    {
        "fails-today", "dropped-today", "handed-over", "lapsed-tester", "expired-gas", "not-every-channel",
        "spoiled-only", "dies-after-test", "calibration-overdue", "life-ended", "life-ending",
    }
)  # fmt: skip
_LONGEST_TEST: Final = 110_000
_SHARE: Final = 0.5
"""Of the detectors without a part, those tested this morning."""


def prepare(world: World, place: Place, day: date) -> None:
    """On the days before: what makes the last morning what it is, each on its day."""
    ago = (world.calendar.today(place.zone) - day).days
    base = world.calendar.base(day, place.zone)
    for unit in world.at_site(place):
        if (unit.role, ago) in {("long-in-store", 45), ("dead-in-store", 27)}:
            unit.rests_from = day + timedelta(days=3)
        elif unit.role == "dead-in-store" and ago == 9:
            world.wear.strike(unit.id, "H2S", base + 3 * HOUR, "sensor-worn")
        elif unit.role == "out-failed" and ago == 4:
            unit.rests_from = day
            _ends_failed(world, unit, day, base)
        elif unit.role == "out-damaged" and ago == 6:
            unit.rests_from = day
            _ends_damaged(world, unit, base)


def _ends_failed(world: World, unit: Unit, day: date, base: int) -> None:
    """The bead is poisoned in the night; the next test finds it, and nobody has had time to repair it."""
    if unit.reasons:
        return
    world.wear.strike(unit.id, "CH4", base - 6 * HOUR, "sensor-poisoned")
    at = base + unit.place.opens * MINUTE + world.minutes(10, 40)
    by = world.present(unit.place, day)[-1].id
    if unit.holder:
        world.hand_back(unit, at - 20 * MINUTE, unit.holder)
    stands = world.stands(unit, 0, at)
    attempt = bumping.bump(world.rng, unit.id, unit.kind, stands, at, world.wear.faults(unit.id, at))
    body = mending.record(world, unit, by, attempt, delay=world.moment())
    if attempt.outcome == "spoiled":
        world.stock.change_empty(stands, attempt.at + MINUTE, day, by)
        _ends_failed(world, unit, day, base + 10 * MINUTE)
        return
    unit.reasons, unit.held, unit.last_test = [str(body["id"])], True, day


def _ends_damaged(world: World, unit: Unit, base: int) -> None:
    at = base + 14 * HOUR
    if unit.holder:
        world.hand_back(unit, base + 5 * HOUR, unit.holder)
    note = "Run over by the van in the yard."
    world.write("happened", unit, at, KEEPER, {"what": "drop"}, texts={"note": note})
    body = world.write("out-of-service", unit, at + 4 * MINUTE, KEEPER, {"because": "damaged"})
    unit.reasons, unit.held = [*unit.reasons, str(body["id"])], True


@dataclass(slots=True)
class Window:
    """When this morning's tests begin, and when everything is over."""

    opens: int
    last_start: int
    ends: int

    def start(self, number: int, of: int) -> int:
        """The moment at which the test of that number begins."""
        return self.opens + (self.last_start - self.opens) * number // max(1, of)


def window(world: World, place: Place) -> Window:
    """The last three hours, after the change-over if more than four minutes have gone since."""
    change_over = world.calendar.change_over(place.zone)
    ends = world.end - 2_000
    opens = max(change_over + 5_000, world.end - 3 * HOUR)
    if ends - opens < 4 * MINUTE:
        opens = world.end - 3 * HOUR
    opens = max(opens, world.start + (world.end - world.start) // 2)
    room = ends - opens - 2 * _LONGEST_TEST
    return Window(opens, opens + max(1_000, min(int(room * 0.8), room - 30_000)), ends)


def last_morning(world: World, place: Place) -> None:
    """Today at a site."""
    today = world.calendar.today(place.zone)
    when = window(world, place)
    tested = [unit for unit in world.at_site(place) if _is_tested(world, unit, when)]
    people = [body.id for body in world.present(place, today) if body.id != LAPSES_AT_THE_END]
    for stand in world.stock.stands:
        gas = stand.now
        if stand.place is place and (gas.bar < gas.mix.minimum_bar + 9 or gas.expires < today):
            world.stock.change(stand, when.opens - 6 * MINUTE, today, people[0])
    wearers = [*people]
    world.rng.shuffle(wearers)
    for number, unit in enumerate(tested):
        at = when.start(number, len(tested))
        by = unit.personal or people[number % len(people)]
        _this_morning(world, unit, at, by, when, wearers)
    for unit in world.at_site(place):
        if unit.role == "issued-untested" and not unit.reasons:
            _goes_untested(world, unit, when, people[0])


def _is_tested(world: World, unit: Unit, when: Window) -> bool:
    draw = world.rng.random()
    if unit.reasons or unit.role in _NO_TEST:
        return False
    if unit.role in _TESTED:
        return True
    if unit.personal == LAPSES_AT_THE_END or world.wear.faults(unit.id, when.ends):
        return False
    return draw < _SHARE + 0.2 * bool(unit.personal)


def _this_morning(world: World, unit: Unit, at: int, by: str, when: Window, wearers: list[str]) -> None:
    rng, role = world.rng, unit.role
    if unit.holder and not unit.personal:
        world.hand_back(unit, at - 4_000, unit.holder)
    if role == "fails-today":
        world.wear.strike(unit.id, "vibration", at - 7 * HOUR, "alarm-dead")
    if role == "lapsed-tester":
        by = LAPSES_AT_THE_END
    stands = world.stands(unit, rng.randrange(4), at)
    if role == "spoiled-only":
        truth = world.wear.faults(unit.id, at)
        attempt = bumping.spoiled(rng, unit.id, stands[0][0], at, truth, "hood-slipped")
        mending.record(world, unit, by, attempt, delay=500)
        return
    if role == "expired-gas" and world.expired_spare is not None:
        stands = [(world.expired_spare, world.expired_spare.now), *stands[1:]]
    skip = "dioxide" if role == "not-every-channel" else None
    truth = world.wear.faults(unit.id, at)
    attempt = bumping.bump(rng, unit.id, unit.kind, stands, at, truth, skip=skip)
    body = mending.record(world, unit, by, attempt, delay=rng.randrange(300, 1500))
    if attempt.outcome == "failed":
        unit.reasons = [str(body["id"])]
    if attempt.outcome == "passed":
        _goes_out(world, unit, attempt, by, when, wearers)


def _goes_out(world: World, unit: Unit, attempt: Attempt, by: str, when: Window, wearers: list[str]) -> None:
    rng, role = world.rng, unit.role
    left = when.ends - attempt.at
    handed = role in {"handed-over", "dropped-today", "dies-after-test"} or rng.random() < 0.75
    at = attempt.at + min(int(left * 0.25), world.minutes(3, 15))
    wearer = wearers[0]
    if handed and not unit.personal:
        wearers.append(wearers.pop(0))
        world.hand_out(unit, wearer, at, by, until=attempt.at + 9 * HOUR)
    later = attempt.at + int(left * rng.uniform(0.55, 0.95))
    if role == "handed-over":
        other = next((person for person in wearers if person != wearer), KEEPER)
        world.hand_out(unit, other, later, wearer, from_store=False)
    elif role == "dropped-today":
        world.write("happened", unit, later, wearer, {"what": "drop"}, delay=500)
        world.wear.strike(unit.id, "H2S", later, "inlet-blocked")
    elif role == "dies-after-test":
        world.wear.strike(unit.id, "CO", later, "sensor-worn")


def _goes_untested(world: World, unit: Unit, when: Window, wearer: str) -> None:
    at = when.opens + (when.ends - when.opens) // 2
    world.write(
        "issued-untested", unit, at, KEEPER,
        {"to": wearer, "authority": KEEPER, "until": instant(world.end + 4 * HOUR)},
        about=(wearer, KEEPER), delay=500,
        texts={"reason": "Overflow at the harbour pit, outside the pit only; two tested detectors go along."},
    )  # fmt: skip
    world.hand_out(unit, wearer, at + (when.ends - at) // 3, KEEPER, until=world.end + 4 * HOUR)


def spare_the_parts(world: World) -> None:
    """Detectors with a part do not fail of themselves in the weeks before the last morning."""
    for unit in world.units:
        if unit.role:
            days = 200 if unit.role == "calibration-overdue" else 40
            world.wear.spare(unit.id, world.end - days * DAY, world.end + DAY)
