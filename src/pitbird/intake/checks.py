"""What an entry claims, held against what is known: names, clocks, channels. Pure.

For typed input, before it is appended. Evidence from the field is kept whatever its clock says; that is
decided where it comes in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from typing import Any, Final

from pitbird.fleet.kinds.base import Body
from pitbird.fleet.state import ChannelFact, DetectorState, PersonState, SiteState, State
from pitbird.fleet.times import DAY, HOUR, MINUTE, Ms, local, ms_of
from pitbird.intake.faults import Fault, listed, shown
from pitbird.intake.words import Path, path_text
from pitbird.intake.words import near as like

#: How far a clock may run ahead before typed input counts as lying in the future.
LEEWAY: Final = 2 * MINUTE
#: No test needs gas for longer; a time that says so was misread.
LONGEST_GAS: Final = HOUR

#: The fields, of whatever kind, that name other things of the book.
REFERENCES: Final = frozenset({
    "by", "where", "site", "person", "detector", "sensor", "regulator", "cylinder", "rules", "subject",
    "home", "to", "back_from", "to_site", "at_site", "authority", "trainer", "fitted_in",
    "cylinders", "sites", "detectors", "people", "of_about", "of", "assessed_by", "device",
    "countersigned_by", "entered_by",
})  # fmt: skip
#: The kinds that bring a thing into the book, and the field that names it.
BRINGS: Final = {
    "site": "site", "person": "person", "detector": "detector", "sensor": "sensor",
    "regulator": "regulator", "cylinder": "cylinder", "rules-adopted": "rules", "device": "device",
}  # fmt: skip

#: On whose authority a detector may be issued untested.
AUTHORITY: Final = frozenset({"keeper", "competent"})

_Found = tuple[Path, object, str]


def check_against(
    body: Body,
    *,
    now: Ms,
    known: Callable[[str], bool],
    describe: Callable[[str], State | None],
    near: Callable[[str], list[str]] = lambda subject: [],
) -> tuple[Fault, ...]:
    """Everything in a typed entry that cannot be true, all at once.

    ``known`` tells whether the book has a subject, ``describe`` what it says about it, ``near`` which
    subjects have a name like it. Refused: a time more than two minutes after ``now``; a thing that the book
    does not know, other than the one the entry brings in; a channel that the detector lacks; a reading more
    than twice the channel's range, which is in another unit; gas that was on for over an hour, or more than
    a day away from the test; an issue without a test on the authority of somebody who has none, or who had
    left. The first entry of a book has nothing to refer to; it is held to the clock only.
    """
    plain = body.as_body()
    found = [
        *_names(plain, body.kind, known, near),
        *_clocks(plain, now),
        *_channels(plain, describe),
        *_authority(plain, describe),
    ]
    if isinstance(plain.get("replacement"), dict):
        inner = plain["replacement"]
        found += [
            (("replacement", *path), value, problem)
            for path, value, problem in (
                *_clocks(inner, now),
                *_channels(inner, describe),
                *_authority(inner, describe),
            )
        ]
    return tuple(Fault(_where(body, path), shown(value), problem) for path, value, problem in found)


def remarks(body: Body, *, describe: Callable[[str], State | None]) -> tuple[Fault, ...]:
    """What is odd in an entry and worth saying, but no reason to refuse it: a zone that is not the site's."""
    site = describe(body.where) if body.where else None
    if isinstance(site, SiteState) and site.zone and site.zone != body.zone:
        problem = f"not the zone of {site.subject}, which is {site.zone}; the time itself is not in doubt"
        return (Fault(f"{body.kind}.zone", shown(body.zone), problem),)
    return ()


def _where(body: Body, path: Path) -> str:
    return f"{body.kind}.{path_text(path)}"


def _names(
    plain: Mapping[str, Any], kind: str, known: Callable[[str], bool], near: Callable[[str], list[str]]
) -> Iterator[_Found]:
    if kind == "genesis":
        return
    brought = _brought(plain, kind)
    inner = plain.get("replacement")
    if isinstance(inner, dict):
        brought |= _brought(inner, str(inner.get("kind")))
    for path, subject in _references(plain, ()):
        if subject not in brought and not known(subject):
            sort = subject.partition(":")[0]
            close = near(subject)
            hint = f"; did you mean {listed(close)}?" if close else f"; write down the {sort} first"
            yield path, subject, f"the book knows no such {sort}{hint}"


def _brought(plain: Mapping[str, Any], kind: str) -> set[str]:
    return {plain[BRINGS[kind]]} if kind in BRINGS and BRINGS[kind] in plain else set()


def _references(value: Mapping[str, Any], path: Path) -> Iterator[tuple[Path, str]]:
    for key, item in value.items():
        here = (*path, key)
        if key in REFERENCES:
            if isinstance(item, str):
                yield here, item
            else:
                yield from (((*here, index), each) for index, each in enumerate(item))
        elif key == "document":
            continue
        elif isinstance(item, dict):
            yield from _references(item, here)
        elif isinstance(item, list):
            for index, each in enumerate(item):
                if isinstance(each, dict):
                    yield from _references(each, (*here, index))


def _clocks(plain: Mapping[str, Any], now: Ms) -> Iterator[_Found]:
    latest = now + LEEWAY
    at = ms_of(plain["at"])
    future = "lies in the future; look at the date, the hour and the offset"
    if at > latest:
        yield ("at",), plain["at"], future
    for field in ("since", "looked_from", "looked_to"):
        if field in plain and ms_of(plain[field]) > latest:
            yield (field,), plain[field], future
    for end in ("until", "due_back"):
        if end in plain and ms_of(plain[end]) <= at:
            yield (end,), plain[end], "does not lie after the entry's own time"
    for index, application in enumerate(plain.get("applications", ())):
        path: Path = ("applications", index)
        on, off = ms_of(application["gas_on"]), ms_of(application["gas_off"])
        for field, moment in (("gas_on", on), ("gas_off", off)):
            if moment > latest:
                yield (*path, field), application[field], future
        if off - on > LONGEST_GAS:
            problem = f"gas on for {(off - on) // MINUTE} minutes; look at both times"
            yield (*path, "gas_off"), application["gas_off"], problem
        if abs(at - on) > DAY:
            problem = "gas on more than a day away from the test's own time; look at both"
            yield (*path, "gas_on"), application["gas_on"], problem


def _channels(plain: Mapping[str, Any], describe: Callable[[str], State | None]) -> Iterator[_Found]:
    """Channels that the detector lacks, and readings that cannot be in their channel's unit."""
    subject = plain.get("detector", plain.get("fitted_in"))
    detector = describe(subject) if isinstance(subject, str) and plain.get("kind") != "detector" else None
    if not isinstance(detector, DetectorState) or not detector.channels:
        return
    channels = {channel.name: channel for channel in detector.channels}
    for path, name, readings in _named_channels(plain):
        if name not in channels:
            problem = f"{subject} has no such channel; it has {listed(channels)}{like(name, channels)}"
            yield path, name, problem
            continue
        for field, reading in readings.items():
            if Decimal(reading) > 2 * Decimal(channels[name].range_high):
                yield (*path[:-1], field), reading, _out_of_range(channels[name])


def _out_of_range(channel: ChannelFact) -> str:
    return (
        f"far above the range of {channel.name}, which ends at {channel.range_high} {channel.unit}; "
        "is it in another unit?"
    )


def _authority(plain: Mapping[str, Any], describe: Callable[[str], State | None]) -> Iterator[_Found]:
    """Whether somebody is named on whose authority a detector may go out untested, and who was still here."""
    if plain.get("kind") != "issued-untested":
        return
    person = describe(plain["authority"])
    if not isinstance(person, PersonState):
        return  # the check of names says so
    if not AUTHORITY & set(person.roles):
        problem = "has no such authority; only a keeper or a competent person has"
        yield ("authority",), plain["authority"], problem
    day = local(ms_of(plain["at"]), plain["zone"]).date().isoformat()
    if person.left is not None and person.left < day:
        yield ("authority",), plain["authority"], f"left on {person.left}"


def _named_channels(plain: Mapping[str, Any]) -> Iterator[tuple[Path, str, dict[str, str]]]:
    """Each channel that an entry names: where, its name, and the readings that stand beside it."""
    if isinstance(plain.get("channel"), str):
        yield ("channel",), plain["channel"], _readings(plain, "peak")
    for field in ("channels", "replaced", "clean_air"):
        for index, item in enumerate(plain.get(field, ())):
            if isinstance(item, str):
                yield (field, index), item, {}
            else:
                readings = _readings(item, "reading", "applied", "as_found", "as_left")
                yield (field, index, "channel"), item["channel"], readings
    for place, application in enumerate(plain.get("applications", ())):
        for index, item in enumerate(application["channels"]):
            yield (
                ("applications", place, "channels", index, "channel"),
                item["channel"],
                _readings(item, "peak"),
            )


def _readings(item: Mapping[str, Any], *fields: str) -> dict[str, str]:
    return {field: item[field] for field in fields if field in item}
