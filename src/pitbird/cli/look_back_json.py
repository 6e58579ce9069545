"""Look-backs as plain values for JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pitbird.fleet.look_back import Happening, Part, Showing, Use
    from pitbird.fleet.times import Ms
    from pitbird.services.look_back_decisions import Decision
    from pitbird.services.look_back_doubt import PartsInDoubt
    from pitbird.services.look_back_list import Awaiting, LookBack
    from pitbird.services.look_back_testers import UntrainedTest
    from pitbird.services.look_back_trials import OnCylinder


def plain(looked: LookBack) -> dict[str, Any]:
    """One look-back, with what was decided about it."""
    from pitbird.services.look_back_doubt import AfterFailure
    from pitbird.services.look_back_trials import by_cylinder

    made: dict[str, Any] = {
        "of": list(looked.of),
        "book_size": looked.book_size,
        "decisions": [_plain_decision(each, looked.newer(each.book_size)) for each in looked.decisions],
        "clears": "nothing",
    }
    if isinstance(looked, AfterFailure):
        return {
            "sort": "failure",
            **made,
            "failed": looked.failed.entry,
            "rate_per_day": looked.rate_per_day,
            "groups": [_plain_group(each) for each in looked.groups],
        }
    return {
        "sort": looked.sort,
        **made,
        "lot": looked.lot,
        "since": _time(looked.since),
        "until": _time(looked.until),
        "trials": looked.trials,
        "untrained": None
        if looked.untrained is None
        else [_plain_untrained(each) for each in looked.untrained],
        "cylinders": [_plain_cylinder(each) for each in by_cylinder(looked)]
        if looked.sort == "gas"
        else None,
        "rested": [
            {
                "detector": each.detector,
                "parts": [_plain_part(part) for part in each.resting.parts],
                "since": _time(each.resting.since),
                "until": _time(each.resting.until),
                "trials": list(dict.fromkeys(trial.entry for trial in each.resting.trials)),
                "uses": [_plain_use(use) for use in each.uses],
            }
            for each in looked.rested
        ],
    }


def _plain_group(group: PartsInDoubt) -> dict[str, Any]:
    return {
        "parts": [_plain_part(part) for part in group.parts],
        "last_good": _plain_showing(group.last_good),
        "passed_over": [each.entry for each in group.passed_over],
        "first": _plain_showing(group.first),
        "failed": _plain_showing(group.failed),
        "again": _plain_showing(group.again),
        "known_events": [_plain_event(each) for each in group.known],
        "happenings": [_plain_event(each) for each in group.happenings],
        "uses": [
            {
                **_plain_use(each.use),
                "order": each.order,
                "probability_failed_by_end": each.calendar,
                "probability_failed_by_end_in_use": each.in_use,
                "take_as_failed_from": each.event.entry if each.event else None,
            }
            for each in group.uses
        ],
        "afterwards": [_plain_use(use) for use in group.afterwards],
    }


def _plain_cylinder(each: OnCylinder) -> dict[str, Any]:
    return {
        "cylinder": each.cylinder,
        "trials": [trial.entry for trial in each.trials],
        "detectors": list(each.detectors),
        "uses": [use.entry for use in each.uses],
    }


def _plain_untrained(test: UntrainedTest) -> dict[str, Any]:
    return {
        "entry": test.row.entry_id,
        "index": test.row.index,
        "at": _time(test.at),
        "detector": test.detector,
        "rule": test.finding.rule,
        "because": test.finding.code,
        "facts": dict(test.finding.facts),
    }


def _plain_part(part: Part) -> dict[str, str]:
    return {"sort": part.sort, "name": part.name}


def _plain_showing(showing: Showing | None) -> dict[str, Any] | None:
    if showing is None:
        return None
    return {"entry": showing.entry, "index": showing.index, "at": _time(showing.at), "by": showing.trial}


def _plain_event(each: Happening) -> dict[str, Any]:
    return {"what": each.what, "at": _time(each.at), "entry": each.entry, "channels": list(each.channels)}


def _plain_use(use: Use) -> dict[str, Any]:
    return {
        "detector": use.detector,
        "entry": use.entry,
        "index": use.index,
        "wearer": use.wearer,
        "where": use.where,
        "permit": use.permit,
        "authority": use.authority,
        "start": _time(use.start),
        "end": _time(use.end),
    }


def _plain_decision(decision: Decision, newer: tuple[int, ...]) -> dict[str, Any]:
    return {
        "entry": decision.row.entry_id,
        "index": decision.row.index,
        "outcome": decision.body["outcome"],
        "assessed_by": decision.body["assessed_by"],
        "book_size": decision.book_size,
        "newer": list(newer),
    }


def plain_awaiting(each: Awaiting) -> dict[str, Any]:
    """One line of what awaits a decision."""
    return {
        "sort": each.sort,
        "subject": each.subject,
        "entry": each.entry.entry_id,
        "index": each.entry.index,
        "because": each.because,
        "uses": len(each.look.uses) if each.look else None,
        "untrained": [test.row.entry_id for test in each.tests],
        "decision": each.decision.row.entry_id if each.decision else None,
        "newer": list(each.newer),
    }


def _time(at: Ms | None) -> str | None:
    from pitbird.fleet.times import text_of

    return text_of(at) if at is not None else None
