"""A test before use as it goes at a site: spoiled attempts, second tries, mistakes in writing it down."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace
from datetime import date
from typing import Final

from pitbird.demo import bumping, mending
from pitbird.demo.bumping import Attempt
from pitbird.demo.entries import Body
from pitbird.demo.people import KEEPER, WRONG_DETECTOR, WRONG_OUTCOME, competent
from pitbird.demo.world import Unit, World
from pitbird.fleet.times import DAY, HOUR, MINUTE

SPOILED: Final = 0.013
WRONG_SCAN: Final = 0.0012
WRONG_TICK: Final = 0.0008
REPORTED: Final = 0.03
"""Share of tests of fixed-life detectors at the island that come as a bare pass from elsewhere."""


def test_before_use(
    world: World, unit: Unit, at: int, day: date, by: str, turn: int, *, mischief: bool
) -> tuple[bool, int]:
    """Test until it comes out; whether it passed, and when it was over."""
    rng = world.rng
    if rng.random() < 0.012:
        air = "outdoors" if unit.place.late < 0.03 else rng.choice(("outdoors", "indoors", "not-known"))
        world.write("fresh-air-set", unit, at - world.minutes(2, 4), by, {"air": air})
    stands = world.stands(unit, turn, at)
    if rng.random() < SPOILED:
        truth = world.wear.faults(unit.id, at)
        attempt = bumping.spoiled(rng, unit.id, stands[0][0], at, truth)
        mending.record(world, unit, by, attempt, delay=world.moment())
        at = attempt.at + world.minutes(1.5, 4)
    spare = world.expired_spare
    takes_four = stands[0][1].mix.key == "four"
    if spare is not None and spare.place is unit.place and takes_four and rng.random() < 0.06:
        stands = [(spare, spare.now), *stands[1:]]
    attempt = bumping.bump(rng, unit.id, unit.kind, stands, at, world.wear.faults(unit.id, at))
    if attempt.outcome == "spoiled":
        mending.record(world, unit, by, attempt, delay=world.moment())
        world.stock.change_empty(stands, attempt.at + MINUTE, day, by)
        return test_before_use(world, unit, attempt.at + 4 * MINUTE, day, by, turn, mischief=mischief)
    unit.last_test = day
    if attempt.outcome == "failed":
        return _failed(world, unit, attempt, day, by, weak=any(cylinder.weak_in for _, cylinder in stands))
    if mischief and rng.random() < WRONG_SCAN + WRONG_TICK:
        _written_wrongly(world, unit, attempt, by)
    elif unit.kind.fixed_life and unit.place.id == "site:ribalva-sewers" and rng.random() < REPORTED:
        bare: Body = {"detector": unit.id, "footing": "reported", "outcome": "passed"}
        mending.record(world, unit, by, replace(attempt, fields=bare, about=(unit.id,)))
    else:
        mending.record(world, unit, by, attempt)
    return True, attempt.at


def _failed(
    world: World, unit: Unit, attempt: Attempt, day: date, by: str, *, weak: bool
) -> tuple[bool, int]:
    body = mending.record(world, unit, by, attempt)
    if weak and not attempt.truth:
        unit.reasons, unit.repair_on = [str(body["id"])], None
        waiting = [u for u in world.at_site(unit.place) if u.reasons and u.repair_on is None and not u.held]
        if len(waiting) > 1:
            _gas_is_suspected(world, waiting, attempt.at, day)
        return False, attempt.at
    mending.take_out(world, unit, str(body["id"]), attempt.at, day, by)
    return False, attempt.at


def _gas_is_suspected(world: World, waiting: list[Unit], at: int, day: date) -> None:
    """Two fails on one channel with one cylinder: the gas is put in doubt, the detectors shown other gas."""
    by = competent(waiting[0].place.id)
    stand = next(stand for stand in world.stock.stands if stand.now.weak_in)
    doubtful = stand.now
    world.stock.quarantine(stand, at + 3 * MINUTE, by, "suspect-contents")
    world.stock.change(stand, at + 6 * MINUTE, day, by, emptied=False)
    world.stock.of("cylinder-emptied", stand.place.id, doubtful, min(at + 15 * DAY, world.end), by)
    for number, unit in enumerate(waiting):
        when = at + (15 + 30 * number) * MINUTE
        if unit.kind.fixed_life:
            world.write("repaired", unit, when, by, {"cause": "gas-at-fault"})
        elif not mending.calibrate(world, unit, when, day, by):
            continue
        mending.return_with_gas(world, unit, day, when + 12 * MINUTE, by, "gas-at-fault")


def _written_wrongly(world: World, unit: Unit, attempt: Attempt, by: str) -> None:
    """A pass is written for the neighbour, or as a fail; somebody sees it and corrects it the same day."""
    rng = world.rng
    others = [u for u in world.at_site(unit.place) if u.kind is unit.kind and u is not unit and not u.reasons]
    later = attempt.at + int(rng.uniform(0.7, 4) * HOUR)
    if others and rng.random() < WRONG_SCAN / (WRONG_SCAN + WRONG_TICK):
        other = rng.choice(others)
        fields = {**deepcopy(attempt.fields), "detector": other.id}
        body = world.write(
            "bump-test", other, attempt.at, by, fields, about=attempt.about[1:], truth=attempt.truth
        )
        if rng.random() < 0.6:
            right = {**deepcopy(body), "detector": unit.id, "about": list(dict.fromkeys(attempt.about))}
            _correct(world, unit, body, later, by, WRONG_DETECTOR, right)
        else:
            _correct(world, unit, body, later, KEEPER, WRONG_DETECTOR, None)
            mending.record(world, unit, by, attempt, delay=later - attempt.at + 2 * MINUTE)
        return
    fields = deepcopy(attempt.fields)
    fields["signals"][unit.kind.signals[-1]] = "no"
    fields["outcome"] = "failed"
    about, truth = attempt.about[1:], attempt.truth
    body = world.write("bump-test", unit, attempt.at, by, fields, about=about, truth=truth)
    _correct(world, unit, body, later, KEEPER, WRONG_OUTCOME, {**deepcopy(body), **deepcopy(attempt.fields)})


def _correct(
    world: World, unit: Unit, wrong: Body, at: int, by: str, reason: str, right: Body | None
) -> None:
    fields: Body = {
        "corrects": wrong["id"],
        "of_about": list(wrong["about"]),
        "how": "void" if right is None else "replace",
    }
    if right is not None:
        fields["replacement"] = right
    about = (*wrong["about"], *(right["about"] if right else ()))
    world.desk.write(
        "correction", at, unit.place.zone, by, unit.place.id, about, fields,
        texts={"reason": reason}, delay=world.moment(),
    )  # fmt: skip
