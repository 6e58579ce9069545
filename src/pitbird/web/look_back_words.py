"""Look-backs in words: parts, chances, uses and decisions as a page shows them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from pitbird.fleet.look_back import Happening, Part, Showing, Use
from pitbird.fleet.times import Ms
from pitbird.rules.words import sentence
from pitbird.services import people
from pitbird.services.look_back_decisions import Decision
from pitbird.services.look_back_doubt import AfterFailure, PartsInDoubt, UseInDoubt
from pitbird.services.look_back_list import LookBack
from pitbird.services.look_back_testers import UntrainedTest
from pitbird.services.look_back_trials import AfterTrials, Rested, by_cylinder
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.names import Names
from pitbird.web.vocabulary import word


@dataclass(frozen=True)
class ToldUse:
    """One use as a line of the list."""

    index: int
    detector: str
    wearer: str
    wearer_address: str
    where: str
    permit: str
    authority: str
    start: Ms
    end: Ms | None
    calendar: str = ""
    in_use: str = ""
    order: int | None = None
    event: Happening | None = None
    event_words: str = ""


def part_words(part: Part) -> str:
    """A channel's name, a signal in words, or the detector as a whole."""
    if part.sort == "whole":
        return _("the detector as a whole")
    return word(part.name) if part.sort == "signal" else part.name


def parts_words(parts: Iterable[Part]) -> str:
    """Several parts, one after the other."""
    return ", ".join(part_words(part) for part in parts)


def chance_words(chance: float | None) -> str:
    """A chance in percent; never 0 % for what may be, nor 100 % for what need not."""
    if chance is None:
        return ""
    if 0 < chance < 0.001:
        return _("below 0.1\u00a0%")
    if 0.999 < chance < 1:
        return _("above 99.9\u00a0%")
    return f"{100 * chance:.1f}".rstrip("0").rstrip(".") + "\u00a0%"


def told_use(use: Use, names: Names, doubt: UseInDoubt | None = None) -> ToldUse:
    """A use in words, with its chances where there are any."""
    return ToldUse(
        index=use.index,
        detector=naming.code(use.detector),
        wearer=names(use.wearer),
        wearer_address=naming.address(use.wearer),
        where=names(use.where),
        permit=use.permit or "",
        authority=names(use.authority),
        start=use.start,
        end=use.end,
        calendar=chance_words(doubt.calendar) if doubt else "",
        in_use=chance_words(doubt.in_use) if doubt else "",
        order=doubt.order if doubt else None,
        event=doubt.event if doubt else None,
        event_words=word(doubt.event.what) if doubt and doubt.event else "",
    )


def told_group(group: PartsInDoubt, names: Names) -> dict[str, Any]:
    """Parts that failed together: when, since when in doubt, what happened in between, and the uses."""
    return {
        "parts": parts_words(group.parts),
        "last_good": group.last_good,
        "last_good_words": trial_words(group.last_good) if group.last_good else "",
        "passed_over": group.passed_over,
        "failed": group.failed,
        "failed_words": trial_words(group.failed),
        "first": group.first if group.first.entry != group.failed.entry else None,
        "again": group.again,
        "known": [_happening(each) for each in group.known],
        "others": [_happening(each) for each in group.happenings if each not in group.known],
        "uses": [told_use(each.use, names, each) for each in group.uses],
        "afterwards": [told_use(use, names) for use in group.afterwards],
        "has_in_use": any(each.in_use is not None for each in group.uses),
        "ordered": any(each.order is not None for each in group.uses),
    }


def trial_words(showing: Showing) -> str:
    """What kind of trial showed it."""
    return _("calibration") if showing.trial == "calibration" else _("bump test")


def _happening(each: Happening) -> dict[str, Any]:
    return {"what": word(each.what), "at": each.at, "index": each.index, "channels": ", ".join(each.channels)}


def told_rested(rested: Rested, names: Names) -> dict[str, Any]:
    """A time in which a detector rested on suspect trials, with its uses."""
    trials = {each.entry: each for each in rested.resting.trials}
    return {
        "detector": naming.code(rested.detector),
        "address": naming.address(rested.detector),
        "parts": parts_words(rested.resting.parts),
        "since": rested.resting.since,
        "until": rested.resting.until,
        "trials": [
            {"index": each.index, "at": each.at, "words": trial_words(each), "by": names(each.by)}
            for each in trials.values()
        ],
        "uses": [told_use(use, names) for use in rested.uses],
    }


def told_cylinders(looked: AfterTrials) -> list[dict[str, Any]]:
    """The graph from gas in doubt: each cylinder with what rested on it."""
    return [
        {
            "code": naming.code(each.cylinder),
            "address": naming.address(each.cylinder),
            "trials": len(each.trials),
            "detectors": [(naming.code(name), naming.address(name)) for name in each.detectors],
            "uses": len(each.uses),
        }
        for each in by_cylinder(looked)
    ]


def told_untrained(tests: Iterable[UntrainedTest], zone: str, names: Names) -> list[dict[str, Any]]:
    """Why tests do not count for their tester, each reason once with its tests."""
    told: dict[str, list[UntrainedTest]] = {}
    for each in tests:
        words = sentence(each.finding, zone=zone, gettext=_, names={each.person: names(each.person)})
        told.setdefault(words, []).append(each)
    return [
        {"sentence": words, "tests": len(listed), "first": listed[0], "last": listed[-1]}
        for words, listed in told.items()
    ]


def told_decisions(looked: LookBack, names: Names) -> list[dict[str, Any]]:
    """What was decided about a look-back, the newest first, each with what came after it."""
    return [_told_decision(each, looked.newer(each.book_size), names) for each in looked.decisions]


def _told_decision(decision: Decision, newer: tuple[int, ...], names: Names) -> dict[str, Any]:
    body = decision.body
    texts = people.texts([body["done"]])
    return {
        "index": decision.row.index,
        "at": Ms(decision.row.at),
        "zone": body["zone"],
        "outcome": word(body["outcome"]),
        "assessed_by": names(body["assessed_by"]),
        "done": texts.get(body["done"]),
        "book_size": decision.book_size,
        "of": ", ".join(naming.code(subject) for subject in body["of"]),
        "from": body.get("looked_from"),
        "newer": newer,
    }


def failure_words(looked: AfterFailure, zone: str) -> str:
    """The answer in a sentence or two: what failed, since when in doubt, how many uses."""
    said = []
    for group in looked.groups:
        values = {"parts": parts_words(group.parts), "failed": times.short(group.failed.at, zone)}
        if group.last_good is None:
            said.append(_("%(parts)s failed at %(failed)s and was never shown to be good before.") % values)
        else:
            values["good"] = times.short(group.last_good.at, zone)
            said.append(_("%(parts)s failed at %(failed)s; last shown to be good at %(good)s.") % values)
    text = " ".join(said)
    return text[:1].upper() + text[1:] + " " + uses_words(len(looked.uses))


def uses_words(count: int) -> str:
    """How many uses are in question."""
    if not count:
        return _("No use stands in the book for that time, which does not say that there was none.")
    return ngettext("%d use is in question.", "%d uses are in question.", count) % count
