"""The state of the simulated undertaking between two entries, and the small acts it is moved by."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from random import Random
from typing import Any, Final
from zoneinfo import ZoneInfo

from pitbird.demo.entries import Body, Desk, Fault, instant
from pitbird.demo.fleet import FLEET, SITES, TYPES, Place, Type
from pitbird.demo.gas import Cylinder, Stand, Stock
from pitbird.demo.people import PEOPLE, Somebody
from pitbird.demo.wear import Episode, Wear
from pitbird.fleet.times import DAY, HOUR, MINUTE, Ms, end_of_working_day, local

TWO_YEARS: Final = 730


@dataclass(slots=True)
class Unit:
    """One detector: where it belongs, who has it, why it is out of service, what is due."""

    id: str
    kind: Type
    place: Place
    number: int
    serial: str
    firmware: str | None
    personal: str | None = None
    activated: date | None = None
    life_ends: date | None = None
    holder: str | None = None
    reasons: list[str] = field(default_factory=list)
    repair_on: date | None = None
    held: bool = False
    """Out of service, and it stays so until the end."""
    rests_from: date | None = None
    """In the store, untouched, from then on."""
    idle_until: date = date.min
    calibrate_on: date = date.max
    last_test: date = date.min
    role: str = ""
    """The part it plays on the last morning."""

    @property
    def gases(self) -> dict[str, Any]:
        """Its gas channels by name."""
        return {gas.name: gas for gas in self.kind.gases}


@dataclass(slots=True)
class Calendar:
    """Local days as instants, and the last change-over of each site."""

    start: Ms
    end: Ms

    def base(self, day: date, zone: str) -> int:
        """Midnight counted back from local noon, so that hours after a change of the clocks are right."""
        noon = datetime.combine(day, time(12), ZoneInfo(zone)).astimezone(UTC)
        return int(noon.timestamp()) * 1000 - 12 * HOUR

    def first_day(self, zone: str) -> date:
        """The first whole working day."""
        return local(self.start, zone).date() + timedelta(days=1)

    def today(self, zone: str) -> date:
        """The working day (from 04:00 to 04:00 local) in which the story ends."""
        return local(Ms(self.end - 4 * HOUR), zone).date()

    def change_over(self, zone: str) -> int:
        """The last change-over before the end."""
        last = end_of_working_day(Ms(self.end - 2 * DAY), zone)
        while (later := end_of_working_day(last, zone)) <= self.end:
            last = later
        return last


class World:
    """The undertaking. ``truth`` and ``episodes`` are the hidden truth, whole once all entries were taken."""

    def __init__(self, *, seed: int, start: Ms, end: Ms, size: float = 1.0) -> None:
        self.rng = Random(f"{seed}:acts")  # noqa: S311 - a simulation, nothing is guarded by it
        self.wear = Wear(Random(f"{seed}:wear"))  # noqa: S311 - as above
        self.desk = Desk(self.rng, start, end)
        self.stock = Stock(self.rng, self.desk)
        self.calendar = Calendar(start, end)
        self.start, self.end = start, end
        self.places = {place.id: place for place in SITES}
        self.days = max(1, (end - start) // DAY)
        self.units: list[Unit] = []
        self.away: dict[str, list[tuple[date, date]]] = {}
        self.trained_until: dict[tuple[str, str], date] = {}
        self.expired_spare: Stand | None = None
        self.sensors = 5500
        self.told: set[str] = set()
        """The stories of the middle of the history that have begun."""
        self._make_units(size)
        self._plan_absences()

    # -- making ---------------------------------------------------------------------------------------

    def _make_units(self, size: float) -> None:
        number = 0
        for place in SITES:
            people = [body.id for body in PEOPLE if body.home == place.id and "wearer" in body.roles]
            worn = 0
            for key, count in FLEET[place.id]:
                kind = TYPES[key]
                for _ in range(max(1, round(count * size))):
                    number += 1
                    unit = Unit(
                        f"detector:D-{number:03d}", kind, place, number, self.new_serial(kind), kind.firmware
                    )
                    if kind.fixed_life:
                        unit.personal = people[worn % len(people)]
                        worn += 1
                    self.units.append(unit)

    def new_serial(self, kind: Type) -> str:
        """A serial number as that make numbers its detectors."""
        return f"{kind.prefix}-{self.rng.randrange(10_000, 99_999)}"

    def _plan_absences(self) -> None:
        first = local(self.start, "UTC").date()
        for body in PEOPLE:
            spans = []
            for week in range(0, self.days + 1, 120):
                begin = first + timedelta(days=week + self.rng.randrange(100))
                spans.append((begin, begin + timedelta(days=self.rng.randrange(4, 17))))
            self.away[body.id] = spans

    # -- asking ---------------------------------------------------------------------------------------

    def truth(self, detector: str, part: str, at: int) -> Fault | None:
        """What is really wrong with a part (a channel or an alarm) at a moment; None if it works.

        Right for any moment of the story once all its entries were taken.
        """
        for episode in self.wear.episodes:
            fault = episode.fault
            lasts = fault.since <= at and (episode.until is None or at < episode.until)
            if lasts and (fault.detector, fault.part) == (detector, part):
                return fault
        return None

    @property
    def episodes(self) -> tuple[Episode, ...]:
        """Every stretch in which something did not work, found or not."""
        return tuple(self.wear.episodes)

    def at_site(self, place: Place) -> list[Unit]:
        """The detectors that belong to a site."""
        return [unit for unit in self.units if unit.place is place]

    def present(self, place: Place, day: date) -> list[Somebody]:
        """Who of a site is there on a day."""
        here = [body for body in PEOPLE if body.home == place.id]
        there = [b for b in here if not any(since <= day <= until for since, until in self.away[b.id])]
        return there or here[:1]

    def played_by(self, role: str) -> Unit | None:
        """The detector that plays a part on the last morning, if the fleet has one for it."""
        return next((unit for unit in self.units if unit.role == role), None)

    # -- acting ---------------------------------------------------------------------------------------

    def write(
        self,
        kind: str,
        unit: Unit,
        at: int,
        by: str,
        fields: Body,
        *,
        about: tuple[str, ...] = (),
        texts: dict[str, str] | None = None,
        delay: int | None = None,
        truth: tuple[Fault, ...] = (),
    ) -> Body:
        """Write an entry about a detector, recorded a moment later unless a delay is given."""
        return self.desk.write(
            kind, at, unit.place.zone, by, unit.place.id, (unit.id, *about), {"detector": unit.id, **fields},
            texts=texts, delay=self.moment() if delay is None else delay, truth=truth,
        )  # fmt: skip

    def moment(self) -> int:
        """The second or so between the act and its entry."""
        return self.rng.randrange(300, 4_000)

    def maybe_late(self, unit: Unit) -> int:
        """Mostly a moment; now and then the entry arrives hours or a day later."""
        if self.rng.random() < unit.place.late:
            return int(self.rng.choice((3, 5, 9, 22)) * HOUR + self.rng.random() * HOUR)
        return self.moment()

    def describe(self, unit: Unit, at: int, by: str) -> None:
        """Write what a detector is."""
        fields: Body = {
            "make": unit.kind.make,
            "model": unit.kind.model,
            "serial": unit.serial,
            "draws": unit.kind.draws,
            "signals": list(unit.kind.signals),
            "home": unit.place.id,
            "channels": [gas.described() for gas in unit.kind.gases],
        }
        if unit.kind.pump_l_min:
            fields["pump_l_min"] = unit.kind.pump_l_min
        if unit.firmware:
            fields["firmware"] = unit.firmware
        if unit.activated and unit.life_ends:
            fields["activated"] = unit.activated.isoformat()
            fields["life_ends"] = unit.life_ends.isoformat()
            fields["calibrated_by_maker_only"] = True
        self.write("detector", unit, at, by, fields, delay=0)

    def activate(self, unit: Unit, on: date) -> None:
        """A detector of fixed life begins it."""
        unit.activated, unit.life_ends = on, on + timedelta(days=TWO_YEARS)

    def renew_parts(self, unit: Unit, at: int, age_years: float) -> None:
        """All sensors and alarms of a detector are of that age from now on."""
        for gas in unit.kind.gases:
            self.wear.fit(unit.id, gas, at, age_years * self.rng.uniform(0.3, 1.0))
        for signal in unit.kind.signals:
            self.wear.fit_alarm(unit.id, signal, at)

    def stands(self, unit: Unit, turn: int, at: int) -> list[tuple[Stand, Cylinder]]:
        """The cylinders a detector is tested with, in order."""
        places = [self.stock.stand(unit.place.id, mix, unit.kind.draws, turn, at) for mix in unit.kind.mixes]
        return [(stand, stand.now) for stand in places]

    def hand_out(
        self, unit: Unit, to: str, at: int, by: str, *, from_store: bool = True, until: int | None = None
    ) -> None:
        """A detector goes to somebody."""
        fields: Body = {"to": to, "from_store": from_store}
        if until is not None:
            fields["due_back"] = instant(until)
            if self.rng.random() < 0.3:
                fields["permit"] = f"PTW-{self.rng.randrange(1000, 9999)}"
        self.write("handed-out", unit, at, by, fields, about=(to,))
        unit.holder = to

    def hand_back(self, unit: Unit, at: int, by: str) -> None:
        """A detector comes back to the store."""
        holder = unit.holder
        fields: Body = {"back_from": holder} if holder else {}
        about = (holder,) if holder else ()
        self.write("handed-back", unit, at, by, fields, about=about, delay=self.maybe_late(unit))
        unit.holder = None

    def minutes(self, low: float, high: float) -> int:
        """Some minutes, as milliseconds."""
        return int(self.rng.uniform(low, high) * MINUTE)
