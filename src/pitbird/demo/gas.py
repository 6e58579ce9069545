"""The cylinders: delivered, opened, used up, out of date, in doubt."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from random import Random
from typing import Final

from pitbird.demo.entries import Desk, instant
from pitbird.demo.fleet import MIXES, POINTS, Mix, Place, Point
from pitbird.demo.people import KEEPER
from pitbird.fleet.times import DAY, MINUTE

_PURGE_S: Final = 6.0


@dataclass(slots=True)
class Cylinder:
    """A cylinder in the simulation: what is left in it, and what is wrong with it."""

    id: str
    mix: Mix
    expires: date
    left_l: float
    weak_in: str | None = None
    """A gas that has silently decayed below every alarm."""
    since: int = 0
    used_until: int = 0

    @property
    def bar(self) -> float:
        """What the gauge shows."""
        return max(0.0, self.mix.full_bar * self.left_l / self.mix.litres)

    def gauge(self) -> str:
        """The gauge as one reads it: whole bars."""
        return str(round(self.bar))

    def draw(self, seconds: float, flow_l_min: float) -> bool:
        """Take gas for a test; false if it ran out below its minimum pressure while doing so."""
        self.left_l = max(0.0, self.left_l - (seconds + _PURGE_S) / 60 * flow_l_min)
        return self.bar >= self.mix.minimum_bar


@dataclass(slots=True)
class Stand:
    """A place to test, with the cylinder in use there and perhaps the next one waiting."""

    point: Point
    place: Place
    now: Cylinder
    spare: Cylinder | None = None
    shut_until: int = 0
    notices: int = 0
    """Days after its last day until somebody notices that the gas is out of date."""


@dataclass(slots=True)
class Stock:
    """All cylinders of the undertaking."""

    rng: Random
    desk: Desk
    stands: list[Stand] = field(default_factory=list)
    count: int = 100

    def set_up(self, places: dict[str, Place], at: int, step: int, today: date) -> int:
        """Open the first cylinder at every place to test; gives the moment after the last entry."""
        for point in POINTS:
            place = places[point.site]
            self.desk.write(
                "regulator", at, place.zone, KEEPER, point.site, (point.regulator,),
                {
                    "regulator": point.regulator,
                    "flow": point.flow,
                    "serial": "F-" + str(3300 + self.rng.randrange(600)),
                    **({"flow_l_min": str(point.flow_l_min)} if point.flow == "fixed" else {}),
                    "hose_m": "0.5",
                },
            )  # fmt: skip
            at += step
        for point in POINTS:
            place = places[point.site]
            cylinder = self.receive(place, MIXES[point.recipe or point.mix], at, today, KEEPER)
            cylinder.left_l *= 1 - 0.6 * self.rng.random()
            stand = Stand(point, place, cylinder, notices=self.rng.randrange(1, 8))
            self.stands.append(stand)
            self._open(stand, at + 2 * step, KEEPER)
            at += 3 * step
        return at

    def receive(
        self, place: Place, mix: Mix, at: int, today: date, by: str, age: int | None = None
    ) -> Cylinder:
        """A cylinder is delivered with its certificate, some weeks (or ``age`` days) after it was made."""
        self.count += 1
        rng = self.rng
        made = today - timedelta(days=rng.randrange(20, 70) if age is None else age)
        name = f"cylinder:C-{self.count}"
        expires = made + timedelta(days=mix.shelf_days)
        self.desk.write(
            "cylinder", at, place.zone, by, place.id, (name,),
            {
                "cylinder": name,
                "lot": f"L-{rng.randrange(2000, 9999)}",
                "certificate": f"TG-{rng.randrange(40000, 99999)}",
                "traceable_to": "mass, by gravimetric preparation",
                "components": mix.components_listed(),
                "balance": mix.balance,
                "made": made.isoformat(),
                "expires": expires.isoformat(),
                "water_capacity_l": mix.water_l,
                "free_gas_l": f"{mix.litres:.0f}",
                "full_pressure_bar": f"{mix.full_bar:.0f}",
                "minimum_pressure_bar": f"{mix.minimum_bar:g}",
                "minimum_temperature_c": "0",
                "home": place.id,
            },
        )  # fmt: skip
        self.desk.write(
            "cylinder-received", at + 1000, place.zone, by, place.id, (name,),
            {"cylinder": name, "at_site": place.id},
        )  # fmt: skip
        return Cylinder(name, mix, expires, mix.litres)

    def _open(self, stand: Stand, at: int, by: str) -> None:
        stand.now.since = at
        self.desk.write(
            "cylinder-opened", at, stand.place.zone, by, stand.place.id, (stand.now.id,),
            {
                "cylinder": stand.now.id,
                "at_site": stand.place.id,
                "regulator": stand.point.regulator,
                "gauge_bar": stand.now.gauge(),
            },
        )  # fmt: skip

    def of(self, kind: str, site: str, cylinder: Cylinder, at: int, by: str, **fields: object) -> str:
        """Write an entry about a cylinder; gives its id."""
        zone = next(stand.place.zone for stand in self.stands if stand.place.id == site)
        body = self.desk.write(kind, at, zone, by, site, (cylinder.id,), {"cylinder": cylinder.id, **fields})
        return str(body["id"])

    def change(self, stand: Stand, at: int, today: date, by: str, *, emptied: bool = True) -> None:
        """The cylinder in use is given up, after its last test, and the next one opened."""
        at = max(at, stand.now.used_until + 20_000)
        if emptied:
            self.of("cylinder-emptied", stand.place.id, stand.now, at, by)
        if stand.spare is None:
            stand.spare = self.receive(stand.place, stand.now.mix, at + 20_000, today, by)
        stand.now, stand.spare = stand.spare, None
        stand.notices = self.rng.randrange(1, 8)
        self._open(stand, at + 60_000, by)

    def round(self, place: Place, base: int, today: date, by: str) -> None:
        """A site's look at its gas before work: orders, gauges on Mondays, changes where due."""
        at = base + (place.opens - 35) * MINUTE
        for stand in self.stands:
            if stand.place is not place or stand.shut_until > base:
                continue
            now = stand.now
            low = now.bar < 0.35 * now.mix.full_bar or (now.expires - today).days < 35
            if low and stand.spare is None and today.weekday() in (1, 3):
                stand.spare = self.receive(place, now.mix, at, today, by)
            if today.weekday() == 0:
                self.of("gauge-read", place.id, now, at, by, gauge_bar=now.gauge())
            nearly = now.bar < now.mix.minimum_bar + 3 and self.rng.random() < 0.6
            if nearly or (today - now.expires).days > stand.notices:
                self.change(stand, at + MINUTE, today, by)
            at += 3 * MINUTE

    def stand(self, site: str, mix: str, draws: str, turn: int, at: int) -> Stand:
        """Where a detector is tested: a demand-flow place for a pumped one if there is, else by turns."""
        fits = [s for s in self.stands if s.place.id == site and s.point.mix == mix and s.shut_until <= at]
        fits = fits or [s for s in self.stands if s.place.id == site and s.point.mix == mix]
        demand = [s for s in fits if s.point.flow == "demand"]
        fixed = [s for s in fits if s.point.flow == "fixed"]
        chosen = demand if draws == "pump" and demand else fixed or demand
        return chosen[turn % len(chosen)]

    def quarantine(self, stand: Stand, at: int, by: str, because: str) -> str:
        """A cylinder is put in doubt, back to when it was opened where its contents are suspect."""
        fields = {"because": because}
        if because == "suspect-contents":
            fields["since"] = instant(stand.now.since)
        return self.of("cylinder-quarantined", stand.place.id, stand.now, at, by, **fields)

    def leak(self, stand: Stand, at: int, by: str) -> None:
        """A suspected leak turns out to be the hose: quarantined, released three days later."""
        doubt = self.quarantine(stand, at, by, "leak")
        stand.shut_until = at + 3 * DAY
        self.of("cylinder-released", stand.place.id, stand.now, stand.shut_until, by, answers=[doubt])

    def change_empty(self, stands: list[tuple[Stand, Cylinder]], at: int, today: date, by: str) -> None:
        """Where gas ran out in the middle of a test, the cylinder is given up and the next one opened."""
        for stand, cylinder in stands:
            if cylinder is stand.now and cylinder.bar < cylinder.mix.minimum_bar:
                self.change(stand, at, today, by)
