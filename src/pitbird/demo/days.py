"""A working day at a site: gas, tests, hand-outs, what happens, hand-backs, calibrations, training."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from pitbird.demo import bumping, mending, stories
from pitbird.demo.entries import instant
from pitbird.demo.fleet import Place
from pitbird.demo.people import (
    DETECTOR_NOTES,
    DROP_NOTES,
    KEEPER,
    LAPSES_AT_THE_END,
    LAPSES_FOR_A_WHILE,
    PEOPLE,
    SITE_NOTES,
    TRAINER,
    UNTESTED_REASONS,
    WATER_NOTES,
    competent,
)
from pitbird.demo.testing import test_before_use
from pitbird.demo.world import Unit, World
from pitbird.fleet.times import HOUR, MINUTE

CHECK_AFTER_DAYS: Final = 27
"""A detector that was not used is shown gas after so many days."""


@dataclass(slots=True)
class Shift:
    """A day at a site while it is being worked."""

    place: Place
    day: date
    base: int
    share: float
    people: list[str]
    clocks: list[int]
    turn: int = 0
    quiet: bool = False
    """The last two days: no mistakes, no new finds."""
    untested: bool = False
    """A detector will be issued without a test today."""

    def next_slot(self, took: int) -> tuple[int, int]:
        """The next free moment at one of the places to test, and which."""
        turn = self.turn % len(self.clocks)
        at = self.clocks[turn]
        self.clocks[turn] += took
        self.turn += 1
        return at, turn


def work(world: World, place: Place, day: date) -> None:
    """Everything that happens at a site on a working day."""
    rng = world.rng
    base = world.calendar.base(day, place.zone)
    share = place.week[day.weekday()]
    people = [body.id for body in world.present(place, day) if "tester" in body.roles]
    rng.shuffle(people)
    opens = base + place.opens * MINUTE
    shift = Shift(
        place, day, base, share, people, [opens + world.minutes(0, 8) for _ in range(min(3, len(people)))],
        quiet=(world.calendar.today(place.zone) - day).days <= 2,
        untested=place.id == "site:ribalva-sewers" and stories.untested_is_due(world, day),
    )  # fmt: skip
    if day.weekday() < 6:
        world.stock.round(place, base, day, people[0])
    _train(world, shift)
    if day.weekday() < 5:
        _write_notes(world, shift)
    wearers = list(people)
    for unit in world.at_site(place):
        _a_day_of(world, unit, shift, wearers)


def _a_day_of(world: World, unit: Unit, shift: Shift, wearers: list[str]) -> None:
    rng, day = world.rng, shift.day
    workday = day.weekday() < 5
    if unit.reasons:
        due = unit.repair_on is not None and day >= unit.repair_on and not unit.held
        if due and (workday or shift.quiet):
            mending.mend(world, unit, day, shift.base + world.minutes(600, 840))
        return
    if unit.rests_from is not None and day >= unit.rests_from:
        return
    if unit.life_ends and day > unit.life_ends and unit.role != "life-ended" and workday:
        _life_ends(world, unit, shift)
        return
    if shift.quiet and world.wear.faults(unit.id, shift.base + 24 * HOUR):
        return
    if not workday or rng.random() >= 0.005:
        wants = rng.random() < unit.kind.use * shift.share and day >= unit.idle_until
    else:
        wants, unit.idle_until = False, day + timedelta(days=rng.randrange(6, 30))
    if unit.personal:
        used = wants and unit.personal in shift.people
    else:
        used = wants and bool(wearers)
    if used:
        _use(world, unit, shift, unit.personal or wearers.pop())
    elif (day - unit.last_test).days >= CHECK_AFTER_DAYS and workday and rng.random() >= unit.place.forgets:
        at, turn = shift.next_slot(world.minutes(2, 4))
        test_before_use(world, unit, at, day, unit.personal or shift.people[0], turn, mischief=False)
    if day >= unit.calibrate_on and workday and not unit.reasons and not unit.kind.fixed_life:
        _calibrate(world, unit, shift)


def _use(world: World, unit: Unit, shift: Shift, wearer: str) -> None:
    rng, day = world.rng, shift.day
    at, turn = shift.next_slot(world.minutes(1.6, 4))
    tester = unit.personal or shift.people[turn % len(shift.people)]
    back = shift.base + world.minutes(15.4 * 60, 17.6 * 60)
    if unit.holder and not unit.personal:
        world.hand_back(unit, shift.base + (unit.place.opens - 12) * MINUTE, unit.holder)
    if rng.random() < 0.003:
        world.write("happened", unit, at, tester, {"what": "flat-battery"})
        return
    if shift.untested and not unit.personal:
        shift.untested = False
        _issue_untested(world, unit, wearer, at, back)
        return
    passed, over = test_before_use(world, unit, at, day, tester, turn, mischief=not shift.quiet)
    if not passed:
        return
    out = over + world.minutes(2, 18)
    if not unit.personal:
        world.hand_out(unit, wearer, out, tester, until=shift.base + 17 * HOUR)
    _things_happen(world, unit, shift, wearer, out)
    if not unit.personal and unit.holder and rng.random() >= 0.03:
        world.hand_back(unit, back, unit.holder)


def _things_happen(world: World, unit: Unit, shift: Shift, wearer: str, out: int) -> None:
    rng = world.rng
    draw = rng.random()
    if draw > 0.019:
        return
    at = max(out + 10 * MINUTE, shift.base + world.minutes(9 * 60, 14.5 * 60))
    if draw < 0.008:
        what = rng.choice(("drop", "drop", "drop", "water", "over-range", "suspected-poison"))
        _harmed(world, unit, shift, wearer, at, what)
    elif draw < 0.012:
        gas = rng.choice(unit.kind.gases)
        if gas.gas != "oxygen":
            peak = float(gas.alarms[0][1]) * rng.uniform(1.05, 3.2)
            digits = 2 if gas.name == "CO2" else 0
            fields = {"channel": gas.name, "alarm": "low", "peak": f"{peak:.{digits}f}"}
            world.write("alarm-in-use", unit, at, wearer, fields, delay=world.maybe_late(unit))
    elif not unit.personal:
        others = [person for person in shift.people if person != wearer]
        if others:
            if rng.random() < 0.3:
                test_before_use(world, unit, at - 6 * MINUTE, shift.day, wearer, 0, mischief=False)
            if not unit.reasons:
                world.hand_out(unit, rng.choice(others), at, wearer, from_store=False)


def _harmed(world: World, unit: Unit, shift: Shift, wearer: str, at: int, what: str) -> None:
    rng = world.rng
    notes = {"drop": DROP_NOTES, "water": WATER_NOTES}.get(what, ())
    texts = {"note": rng.choice(notes)} if notes and rng.random() < 0.6 else {}
    world.write("happened", unit, at, wearer, {"what": what}, texts=texts, delay=world.maybe_late(unit))
    spared = bool(unit.role)
    if not spared and not shift.quiet and what in {"drop", "water"} and rng.random() < 0.18:
        part = rng.choice(unit.kind.gases).name if rng.random() < 0.7 else rng.choice(unit.kind.signals)
        cause = "inlet-blocked" if part in unit.gases else "alarm-dead"
        world.wear.strike(unit.id, part, at, cause)
    if what == "suspected-poison" and "CH4" in unit.gases and not spared and rng.random() < 0.4:
        world.wear.strike(unit.id, "CH4", at, "sensor-poisoned")
    if not shift.quiet and rng.random() < 0.75:
        test_before_use(world, unit, at + world.minutes(12, 40), shift.day, wearer, 0, mischief=False)


def _issue_untested(world: World, unit: Unit, wearer: str, at: int, back: int) -> None:
    world.write(
        "issued-untested", unit, at, KEEPER,
        {"to": wearer, "authority": KEEPER, "until": instant(back + HOUR)},
        about=(wearer, KEEPER), texts={"reason": world.rng.choice(UNTESTED_REASONS)},
    )  # fmt: skip
    world.hand_out(unit, wearer, at + 5 * MINUTE, KEEPER, until=back + HOUR)
    world.hand_back(unit, back, wearer)


def _life_ends(world: World, unit: Unit, shift: Shift) -> None:
    at = shift.base + (unit.place.opens + 20) * MINUTE
    body = world.write("out-of-service", unit, at, shift.people[0], {"because": "life-ended"})
    unit.reasons = [str(body["id"])]
    last = world.calendar.today(unit.place.zone) - timedelta(days=1)
    unit.repair_on = max(
        shift.day + timedelta(days=1), min(shift.day + timedelta(days=world.rng.randint(1, 4)), last)
    )


def _calibrate(world: World, unit: Unit, shift: Shift) -> None:
    by = competent(unit.place.id)
    at = shift.base + world.minutes(18 * 60, 19 * 60)
    if unit.kind.draws == "pump" and world.rng.random() < 0.3:
        world.write("happened", unit, at - 12 * MINUTE, by, {"what": "filter-changed"})
    if unit.firmware == "1.8" and "firmware" in world.told:
        unit.firmware = "1.9"
        world.write("happened", unit, at - 8 * MINUTE, by, {"what": "firmware-changed"})
        world.describe(unit, at - 7 * MINUTE, by)
    passed = mending.calibrate(world, unit, at, shift.day, by)
    if passed and world.rng.random() < 0.9:
        when = at + world.minutes(12, 30)
        stands = world.stands(unit, 0, when)
        attempt = bumping.bump(world.rng, unit.id, unit.kind, stands, when, world.wear.faults(unit.id, when))
        body = mending.record(world, unit, by, attempt, delay=world.moment())
        unit.last_test = shift.day
        if attempt.outcome == "failed":
            mending.take_out(world, unit, str(body["id"]), attempt.at, shift.day, by)


def _train(world: World, shift: Shift) -> None:
    """Trainings are renewed ten days before they end; one person's is not, another's late."""
    for body in PEOPLE:
        if body.home != shift.place.id:
            continue
        for topic in ("bump-test", "wearing", "calibration", "train-the-trainer"):
            until = world.trained_until.get((body.id, topic))
            if until is None or (body.id, topic) == (LAPSES_AT_THE_END, "bump-test"):
                continue
            lead = -18 if (body.id, topic) == (LAPSES_FOR_A_WHILE, "bump-test") else 10
            if shift.day >= until - timedelta(days=lead) and shift.day.weekday() < 5:
                train(world, body.id, shift.place, topic, shift.base + world.minutes(660, 700), shift.day)


def train(world: World, person: str, place: Place, topic: str, at: int, day: date, days: int = 730) -> None:
    """Somebody is trained, for so many days."""
    until = day + timedelta(days=days)
    world.trained_until[(person, topic)] = until
    trainer = TRAINER if person != TRAINER else KEEPER
    world.desk.write(
        "training", at, place.zone, trainer, place.id, (person,),
        {"person": person, "topic": topic, "trainer": trainer, "valid_until": until.isoformat()},
        delay=world.moment(),
    )  # fmt: skip


def _write_notes(world: World, shift: Shift) -> None:
    rng = world.rng
    if rng.random() > 0.045:
        return
    if rng.random() < 0.7:
        subject, text = rng.choice(world.at_site(shift.place)).id, rng.choice(DETECTOR_NOTES)
    else:
        subject, text = shift.place.id, rng.choice(SITE_NOTES)
    world.desk.write(
        "note", shift.base + world.minutes(600, 960), shift.place.zone, rng.choice(shift.people),
        shift.place.id, (subject,), {"subject": subject}, texts={"text": text}, delay=world.moment(),
    )  # fmt: skip
