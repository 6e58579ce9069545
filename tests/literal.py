"""A second, slow, literal reading of the strict rule set, written only to be compared with the gate.

It works on the plain list of a book's entries, knows nothing of folds, states or predicates, and asks of
each question the whole list again. ``says_yes`` gives (True, "") or (False, the first thing that is wrong).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

ENDS_A_PASS = {
    "drop", "water", "over-range", "suspected-poison", "fault", "flat-battery", "sensor-changed",
    "filter-changed", "firmware-changed", "set-point-changed",
}  # fmt: skip
SILENT = {"note", "erasure", "correction", "look-back"}
KNOWN = SILENT | {
    "detector", "bump-test", "fresh-air-set", "calibration", "happened", "out-of-service", "repaired",
    "returned-to-service", "handed-out", "handed-back", "issued-untested", "alarm-in-use", "sensor",
}  # fmt: skip
NO_GAS_CAME = {"hood-slipped", "gas-ran-out", "wrong-gas", "broken-off"}
LOOKED_AT = (
    "whole_and_clean", "inlets_clear", "warmed_up", "battery", "hose_tight", "gauge_shows_pressure",
    "cylinder_in_date",
)  # fmt: skip
HELPFUL = {"returned-to-service", "handed-back", "cylinder-released"}


class Fact(NamedTuple):
    """An entry as it counts: when, in which order, and what it says.

    ``idle``: its clock cannot be right and it could only help, so it helps nothing; what stands against a
    detector or a cylinder in it counts from when it arrived. ``doubtful``: its clock cannot be right,
    whatever it says. ``latest``: when it can have happened at the latest.
    """

    at: datetime
    forbids: bool
    place: int
    body: Mapping[str, Any]
    idle: bool = False
    doubtful: bool = False
    latest: datetime = datetime.min.replace(tzinfo=UTC)


def moment(text: str) -> datetime:
    """The book's time as a datetime."""
    return datetime.fromisoformat(text).astimezone(UTC)


def only_helps(body: Mapping[str, Any]) -> bool:
    """Whether an entry can only be in favour of going out."""
    if body["kind"] == "bump-test":
        return bool(body["outcome"] == "passed")
    if body["kind"] in {"calibration", "training"}:
        return bool(body.get("result", "passed") == "passed")
    return body["kind"] in HELPFUL


def facts_of(book: Sequence[tuple[int, Mapping[str, Any], str]]) -> list[Fact]:
    """The entries that count, corrections heeded, impossible clocks set aside, in the order they happened."""
    corrected: dict[str, tuple[Mapping[str, Any], str]] = {}
    for _, body, recorded in sorted(book, key=lambda entry: entry[0]):
        if body["kind"] == "correction":
            corrected[body["corrects"]] = (body, recorded)
    facts = []
    for index, body, recorded in book:
        said, known_at, hollow, strange = body, recorded, False, phone_was_ahead(body)
        if body["id"] in corrected:
            correction, known_at = corrected[body["id"]]
            if correction["how"] == "void":
                continue
            said = {**correction["replacement"], "id": body["id"]}
            strange = proves_nothing(body, moment(recorded), correction)
            hollow = only_helps(said) and strange
        happened, arrived = moment(said["at"]), moment(known_at)
        idle = hollow or (said is body and phone_was_ahead(body) and only_helps(body))
        if happened > arrived + timedelta(minutes=2):
            idle, happened, strange = only_helps(said), arrived, True
        latest = happened
        if said is body and (behind := phone_was_behind(body)) > timedelta(minutes=2):
            latest = max(happened, min(happened + behind, arrived))
        if hollow:
            happened = min(happened, moment(recorded))
        facts.append(Fact(happened, not only_helps(said), index, said, idle, strange, latest))
    return sorted(facts, key=lambda fact: fact[:3])


def phone_was_ahead(body: Mapping[str, Any]) -> bool:
    """Whether the phone knew that its clock was more than two minutes ahead of the server's."""
    return Decimal(body.get("phone", {}).get("ahead_s", "0")) > 120


def phone_was_behind(body: Mapping[str, Any]) -> timedelta:
    """By how much the phone knew that its clock was behind the server's."""
    return timedelta(seconds=-float(body.get("phone", {}).get("ahead_s", "0")))


def proves_nothing(first: Mapping[str, Any], arrived: datetime, correction: Mapping[str, Any]) -> bool:
    """Whether a correction that would help says what cannot be, or what its writer may not say.

    An entry that arrived in the morning did not happen at noon, whenever that is said; whoever wrote an entry
    at an impossible time does not say themselves when it happened; and nothing but a test becomes a test.
    """
    latest = arrived + timedelta(minutes=2)
    instead = correction["replacement"]
    return (
        moment(instead["at"]) > latest
        or ((moment(first["at"]) > latest or phone_was_ahead(first)) and first["by"] == correction["by"])
        or instead["kind"] != first["kind"]
    )


def says_no(body: Mapping[str, Any]) -> bool:
    """Whether a test records an alarm that did not come."""
    channels = [c for a in body.get("applications", ()) for c in a.get("channels", ())]
    return any(channel["reached"] == "no" for channel in channels)


def begun(fact: Fact) -> datetime:
    """When a test began: its own time, or its first gas if that was earlier; else when it happened."""
    gas = [moment(application["gas_on"]) for application in fact.body.get("applications", ())]
    return min([fact.at, *gas])


def by_latest(fact: Fact) -> tuple[Any, ...]:
    """The last failure is the one that can have happened last."""
    return (fact.latest, *fact[:3])


class Reading:
    """The literal reading of one book as of one moment."""

    def __init__(self, book: Sequence[tuple[int, Mapping[str, Any], str]], as_of: datetime) -> None:
        self.as_of = as_of
        self.everything = facts_of(book)
        # A clock may run ahead by two minutes: what was recorded has happened, only a pass, a calibration
        # and a training serve from their own time on.
        soon = as_of + timedelta(minutes=2)
        later = {"bump-test", "calibration", "training"}
        self.facts = [
            f
            for f in self.everything
            if begun(f) <= (as_of if f.body["kind"] in later and not f.forbids else soon)
        ]

    def about(self, subject: str, *kinds: str) -> list[Fact]:
        """What happened to a subject by now, of some kinds."""
        return [
            f
            for f in self.facts
            if not f.idle and subject in f.body["about"] and (not kinds or f.body["kind"] in kinds)
        ]

    def says_yes(self, detector: str) -> tuple[bool, str]:
        """Whether the detector may go out, and if not, the first thing that is wrong."""
        for trouble in self.troubles(detector):
            return False, trouble
        return True, ""

    def troubles(self, detector: str) -> Iterator[str]:
        """Everything that stands against a yes."""
        described = self.about(detector, "detector")
        if not described:
            yield "not described"
            return
        thing = described[-1].body
        if any(f.body["kind"] not in KNOWN for f in self.about(detector)):
            yield "an entry of an unknown kind"
        site = self.about(thing["home"], "site")
        if not site:
            yield "no site"
            return
        zone, turn = site[-1].body["site_zone"], site[-1].body.get("change_overs", ["04:00"])[0]
        if not self.rules_in_force(thing["home"], self.as_of):
            yield "no rules"
        yield from self.open_reasons(detector, thing)
        ends = [thing.get("life_ends"), *(channel.get("sensor_ends") for channel in thing["channels"])]
        today = self.as_of.astimezone(ZoneInfo(zone)).date().isoformat()
        if any(end is not None and today > end for end in ends):
            yield "its life has ended"
        yield from self.calibration(detector, thing)
        passes = [f for f in self.about(detector, "bump-test") if self.holds(f, detector, thing, zone, turn)]
        if not passes:
            yield "no pass that holds"

    def rules_in_force(self, site: str, at: datetime) -> bool:
        """Whether rules had been adopted at the site."""
        return any(
            max(moment(f.body["effective"]), f.at) <= at
            for f in self.about(site, "rules-adopted")
            if f.at <= at
        )

    def fails(self, detector: str, thing: Mapping[str, Any]) -> list[Fact]:
        """Failed tests and calibrations."""
        tests = [
            f
            for f in self.facts
            if f.body["kind"] == "bump-test" and detector in f.body["about"] and self.failed(f.body, thing)
        ]
        return tests + [f for f in self.about(detector, "calibration") if f.body["result"] == "failed"]

    def failed(self, body: Mapping[str, Any], thing: Mapping[str, Any]) -> bool:
        """A test failed if it says so, or if, not spoiled, anything in it that had to come did not."""
        if body["outcome"] == "failed":
            return True
        no = [c for a in body.get("applications", ()) for c in a.get("channels", ()) if c["reached"] == "no"]
        air = {channel["name"]: channel for channel in thing["channels"]}
        wrong_air = [
            c
            for c in body.get("clean_air", ())
            if c["right"] == "no" or (c["channel"] in air and self.off(c, air[c["channel"]]))
        ]
        dead = [s for s in ("sound", "light", "vibration") if body.get("signals", {}).get(s) == "no"]
        broken = [c for c in ("whole_and_clean", "inlets_clear", "battery") if self.check(body, c) == "no"]
        stayed = [c for c in ("readings", "peaks") if body.get("cleared", {}).get(c) == "no"]
        excused = body["outcome"] == "spoiled" and body["spoiled_because"] in NO_GAS_CAME
        return bool((no and not excused) or wrong_air or dead or broken or stayed)

    @staticmethod
    def check(body: Mapping[str, Any], name: str) -> str | None:
        """What was said of a check."""
        answer: str | None = body.get("checks", {}).get(name)
        return answer

    @staticmethod
    def off(look: Mapping[str, Any], channel: Mapping[str, Any]) -> bool:
        """Whether a reading in clean air lies outside the channel's tolerance."""
        reading = Decimal(look.get("reading", channel["clean_air"]))
        return abs(reading - Decimal(channel["clean_air"])) > Decimal(channel["clean_air_tolerance"])

    def open_reasons(self, detector: str, thing: Mapping[str, Any]) -> Iterator[str]:
        """Every fail and every taking out of service must be answered by a return that names it."""
        # A return dated before its reason contradicts itself: the reason stays open.
        returns = self.about(detector, "returned-to-service")
        fails = self.fails(detector, thing)
        for reason in (*fails, *self.about(detector, "out-of-service")):
            if not any(reason.body["id"] in f.body["answers"] and f[:3] > reason[:3] for f in returns):
                yield f"out of service since {reason.at}"
        if fails:
            last = max(fails, key=by_latest)
            if not self.mended_after(last, detector, thing):
                yield "not mended since the last failure"

    def mended_after(self, fail: Fact, detector: str, thing: Mapping[str, Any]) -> list[datetime]:
        """When the cause of a failure was mended: repaired, sensor changed, or calibrated with success."""
        mended = [
            f.at
            for f in self.about(detector, "repaired", "sensor", "happened")
            if f.at > fail.latest
            and not f.doubtful
            and (f.body["kind"] != "happened" or f.body["what"] == "sensor-changed")
        ]
        missed = [
            c["channel"]
            for a in fail.body.get("applications", ())
            for c in a.get("channels", ())
            if c["reached"] == "no"
        ] or [c["channel"] for c in fail.body.get("channels", ()) if c.get("result") == "outside"]
        wanted = set(missed or (channel["name"] for channel in thing["channels"]))
        for f in self.about(detector, "calibration"):
            good = {c["channel"] for c in f.body["channels"] if c["result"] == "within"}
            if f.at > fail.latest and f.body["result"] == "passed" and wanted <= good:
                mended.append(f.at)
        return mended

    def calibration(self, detector: str, thing: Mapping[str, Any]) -> Iterator[str]:
        """Every channel calibrated within 120 days, and after the last change of a sensor."""
        if thing.get("calibrated_by_maker_only"):
            return
        changes = [f.at for f in self.about(detector, "happened") if f.body["what"] == "sensor-changed"]
        changes += [f.at for f in self.about(detector, "sensor")]
        for channel in thing["channels"]:
            of_channel = [
                (f.at, f.body["result"] == "passed" and c["result"] == "within")
                for f in self.about(detector, "calibration")
                for c in f.body["channels"]
                if c["channel"] == channel["name"]
            ]
            if not of_channel or not of_channel[-1][1]:
                yield f"{channel['name']} not calibrated"
            elif self.as_of >= of_channel[-1][0] + timedelta(days=120):
                yield f"{channel['name']} calibrated more than 120 days ago"
            elif changes and of_channel[-1][0] <= max(changes):
                yield f"{channel['name']} not calibrated since a sensor was changed"

    def holds(self, test: Fact, detector: str, thing: Mapping[str, Any], zone: str, turn: str) -> bool:
        """Whether a test is a pass that counts and still holds."""
        return not any(self.against(test, detector, thing, zone, turn))

    def against(
        self, test: Fact, detector: str, thing: Mapping[str, Any], zone: str, turn: str
    ) -> Iterator[str]:
        """What stands against a test."""
        body = test.body
        test = test._replace(at=begun(test))
        if body["outcome"] != "passed" or self.failed(body, thing) or body.get("footing") == "reported":
            yield "no pass"
            return
        if not self.rules_in_force(thing["home"], test.at):
            yield "no rules then"
        yield from self.too_late(test, zone, turn)
        yield from self.shown_wrong(body, thing)
        for application in body.get("applications", ()):
            yield from self.gas_wrong(application, test, zone)
        trained = [
            f
            for f in self.about(body["by"], "training")
            if f.at <= test.at and f.body["topic"] == "bump-test"
        ]
        day = test.at.astimezone(ZoneInfo(zone)).date().isoformat()
        # The newest training says whether a person is trained; at equal times the one not passed.
        newest = max(trained, key=lambda f: f[:3]).body if trained else {"result": "failed"}
        if newest.get("result") == "failed" or newest.get("valid_until", "9999") < day:
            yield "tester not trained"
        described = self.about(body["by"], "person")
        if described and described[-1].body.get("left", "9999") < day:
            yield "tester had left"
        yield from self.happened_since(test, detector, thing)
        for fail in self.fails(detector, thing):
            if fail.latest >= test.at:
                yield "failed since"
        fails = self.fails(detector, thing)
        if fails and not any(
            at < test.at for at in self.mended_after(max(fails, key=by_latest), detector, thing)
        ):
            yield "not mended before this test"

    def too_late(self, test: Fact, zone: str, turn: str) -> Iterator[str]:
        """A pass ends at the next change-over on local clocks."""
        place = ZoneInfo(zone)
        minute = test.at.astimezone(place).replace(second=0, microsecond=0)
        hour, low = int(turn[:2]), int(turn[3:])
        day = minute.date()
        if (minute.hour, minute.minute) >= (hour, low):
            day += timedelta(days=1)
        end = datetime(day.year, day.month, day.day, hour, low, tzinfo=place)
        if self.as_of >= end.astimezone(UTC):
            yield "yesterday's"

    def shown_wrong(self, body: Mapping[str, Any], thing: Mapping[str, Any]) -> Iterator[str]:
        """Every channel's alarm, every signal, every check, clean air on every channel."""
        shown = [c for a in body.get("applications", ()) for c in a.get("channels", ())]
        for channel in thing["channels"]:
            said = [c["reached"] for c in shown if c["channel"] == channel["name"]]
            by_gas = [alarm for alarm in channel["alarms"] if alarm.get("shown_by", "gas") == "gas"]
            if by_gas and (not said or "no" in said):
                yield f"{channel['name']} not shown"
            air = [c for c in body.get("clean_air", ()) if c["channel"] == channel["name"]]
            if not air:
                yield f"{channel['name']} not looked at in clean air"
            for look in air:
                if look["right"] != "yes" or self.off(look, channel):
                    yield f"{channel['name']} wrong in clean air"
        for signal in thing["signals"]:
            if body.get("signals", {}).get(signal) != "yes":
                yield f"{signal} not seen"
        # What was not looked at is never a pass.
        for check in LOOKED_AT:
            if self.check(body, check) != "yes":
                yield f"{check} not checked"
        for what in ("readings", "peaks"):
            if body.get("cleared", {}).get(what) != "yes":
                yield f"{what} not cleared"

    def gas_wrong(self, application: Mapping[str, Any], test: Fact, zone: str) -> Iterator[str]:
        """The cylinder: in date, above its minimum pressure and temperature, neither empty nor in doubt."""
        name = application["cylinder"]
        of_it = self.about(name)
        described = [f for f in of_it if f.body["kind"] == "cylinder"]
        if not described:
            yield "unknown gas"
            return
        gas = described[-1].body
        if test.at.astimezone(ZoneInfo(zone)).date().isoformat() > gas["expires"]:
            yield "gas out of date"
        readings = [
            (f.at, f.place, f.body["gauge_bar"])
            for f in of_it
            if f.at <= test.at
            and f.body["kind"] in {"gauge-read", "cylinder-opened"}
            and "gauge_bar" in f.body
            and not f.doubtful
        ]
        readings += [
            (moment(a["gas_on"]), f.place, a["gauge_bar"])
            for f in of_it
            if f.body["kind"] == "bump-test"
            for a in f.body["applications"]
            if a["cylinder"] == name and "gauge_bar" in a and moment(a["gas_on"]) <= test.at
            and not f.doubtful
        ]  # fmt: skip
        # A clock may be in doubt, its needle is not: too low counts from when it arrived.
        readings += [
            (f.at, f.place, a["gauge_bar"])
            for f in self.facts
            if f.doubtful and name in f.body["about"]
            for a in f.body.get("applications", ({**f.body, "cylinder": name},))
            if a["cylinder"] == name and f.at <= test.at
            and Decimal(a.get("gauge_bar", "999")) < Decimal(gas["minimum_pressure_bar"])
        ]  # fmt: skip
        bar = application.get("gauge_bar") or (max(readings)[2] if readings else None)
        if bar is None:
            if test.body.get("checks", {}).get("gauge_shows_pressure") != "yes":
                yield "pressure not known"
        elif Decimal(bar) < Decimal(gas["minimum_pressure_bar"]):
            yield "pressure too low"
        cold, limit = test.body.get("temperature_c"), gas.get("minimum_temperature_c")
        if cold is not None and limit is not None and Decimal(cold) < Decimal(limit):
            yield "too cold for the gas"
        if any(f.body["kind"] == "cylinder-emptied" and f.at <= test.at for f in of_it):
            yield "emptied"
        yield from self.asked_about(name, of_it, test)
        # A release dated before what it answers contradicts itself: the doubt stays.
        for f in of_it:
            if f.body["kind"] == "cylinder-quarantined":
                since = min(moment(f.body.get("since", f.body["at"])), f.at)
                answers = [
                    r.at
                    for r in of_it
                    if r.body["kind"] == "cylinder-released"
                    and f.body["id"] in r.body["answers"]
                    and r[:3] > f[:3]
                ]
                if since <= test.at and (not answers or test.at < min(answers)):
                    yield "gas in doubt"

    def asked_about(self, name: str, of_it: list[Fact], test: Fact) -> Iterator[str]:
        """Two failed tests in a row on a cylinder, or two detectors failing among its last ten, ask about it
        from the failure that made it so until a release names that one."""
        tests = [
            f
            for f in of_it
            if f.body["kind"] == "bump-test"
            and f.body["outcome"] != "spoiled"
            and any(a["cylinder"] == name for a in f.body.get("applications", ()))
        ]
        bad = [f.body["outcome"] == "failed" or says_no(f.body) for f in tests]
        for place, fail in enumerate(tests):
            if not bad[place] or fail.at > test.at:
                continue
            low = max(0, place - 9)
            row = place > 0 and bad[place - 1]
            several = len({tests[n].body["detector"] for n in range(low, place + 1) if bad[n]}) > 1
            answered = [
                r.at
                for r in of_it
                if r.body["kind"] == "cylinder-released"
                and fail.body["id"] in r.body["answers"]
                and r[:3] > fail[:3]
            ]
            if (row or several) and (not answered or test.at < min(answered)):
                yield "gas in question"

    def happened_since(self, test: Fact, detector: str, thing: Mapping[str, Any]) -> Iterator[str]:
        """Events, hand-overs and a new description since the test; too many spoiled attempts before it."""
        since = [f for f in self.about(detector) if f.latest >= test.at and f.body["id"] != test.body["id"]]
        # A calibration at no one knows what time proves nothing, yet it altered what had passed before.
        since += [
            f
            for f in self.facts
            if f.idle
            and f.body["kind"] == "calibration"
            and detector in f.body["about"]
            and f.latest >= test.at
        ]
        for f in since:
            kind = f.body["kind"]
            if kind in {"fresh-air-set", "calibration", "repaired", "sensor"}:
                yield kind
            if kind == "happened" and f.body["what"] in ENDS_A_PASS:
                yield f.body["what"]
            if kind == "detector" and [f.body["channels"], f.body["signals"]] != self.before(f, detector):
                yield "described anew"
        holder: str | None = None
        for f in self.about(detector, "handed-out", "handed-back", "issued-untested"):
            to = f.body.get("to")
            kind = f.body["kind"]
            if kind == "handed-back":
                holder = None
                continue
            out_of_store = kind == "issued-untested" or f.body["from_store"]
            if (holder not in (None, to) or (holder is None and not out_of_store)) and f.latest >= test.at:
                yield "handed over"
            holder = to
        spoiled = 0
        for f in reversed([f for f in self.about(detector, "bump-test") if f.at <= test.at]):
            if f.body["id"] == test.body["id"]:
                continue
            if f.body["outcome"] != "spoiled" or f.at < test.at - timedelta(hours=12):
                break
            spoiled += 1
        if spoiled > 2:
            yield "too many attempts"

    def before(self, fact: Fact, detector: str) -> list[Any] | None:
        """Channels and signals as described before an entry."""
        earlier = [f for f in self.about(detector, "detector") if f[:3] < fact[:3]]
        if not earlier:
            return [fact.body["channels"], fact.body["signals"]]
        return [earlier[-1].body["channels"], earlier[-1].body["signals"]]
