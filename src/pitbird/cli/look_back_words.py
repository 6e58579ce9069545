"""Look-backs in words for the terminal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pitbird.fleet.look_back import Happening, Part, Showing, Use
    from pitbird.services.look_back_doubt import AfterFailure, PartsInDoubt, UseInDoubt
    from pitbird.services.look_back_list import Awaiting, LookBack
    from pitbird.services.look_back_testers import UntrainedTest
    from pitbird.services.look_back_trials import AfterTrials

CLEARS_NOTHING: Final = (
    "Nothing here clears a use. A known drop, soaking, over-range or poisoning comes before any chance; the\n"
    "record does not know what nobody wrote down. Local codes, the manual and a competent person come first."
)


def told(looked: LookBack, zone: str | None) -> str:
    """One look-back, with what was decided about it."""
    from pitbird.services.look_back_doubt import AfterFailure

    body = _failure(looked, zone) if isinstance(looked, AfterFailure) else _trials(looked, zone)
    return "\n\n".join([*body, _decided(looked, zone), CLEARS_NOTHING])


def _failure(looked: AfterFailure, zone: str | None) -> list[str]:
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time

    parts = [f"Which work before the failure of {code(looked.detector)} is in question?"]
    for group in looked.groups:
        good = group.last_good
        lines = [
            f"{_parts(group.parts)}: failed a {_trial(group.failed)} at {_shown(group.failed, zone)}",
            f"  last shown to be good at {_shown(good, zone)}" if good else "  never shown to be good before",
        ]
        if group.passed_over:
            lines.append(
                f"  passed over, on gas in doubt or not counted by the site rules: {len(group.passed_over)}"
            )
        if group.first.entry != group.failed.entry:
            lines.append(f"  had failed before, at {show_time(group.first.at, zone)}")
        lines += [
            f"  known event, take it as failed from then on: {_event(each, zone)}" for each in group.known
        ]
        lines += [
            f"  also written down: {_event(each, zone)}"
            for each in group.happenings
            if each not in group.known
        ]
        parts += ["\n".join(lines), _uses_in_doubt(group, looked.rate_per_day is not None, zone)]
        if group.afterwards:
            parts.append(
                "Taken out after it had failed, before it was shown to be good again:\n"
                + _uses(group.afterwards, zone)
            )
    return parts


def _uses_in_doubt(group: PartsInDoubt, rated: bool, zone: str | None) -> str:
    if not group.uses:
        return "No hand-out stands in the book for that time. That does not say that nobody used it."
    heads = ["calendar", "in use"] if rated else ["order"]
    more = [_chances(each, rated) for each in group.uses]
    return _uses([each.use for each in group.uses], zone, heads, more)


def _chances(each: UseInDoubt, rated: bool) -> list[str]:
    if each.event is not None:
        told = f"take as failed: {each.event.what}"
        return [told, told] if rated else [told]
    if rated:
        return [_percent(each.calendar), _percent(each.in_use)]
    return [str(each.order) if each.order is not None else "-"]


def _percent(chance: float | None) -> str:
    """Never 0 % for what may be, nor 100 % for what need not."""
    if chance is None:
        return "-"
    if 0 < chance < 0.001:
        return "below 0.1 %"
    if 0.999 < chance < 1:
        return "above 99.9 %"
    return f"{100 * chance:.1f} %"


def _uses(
    uses: Iterable[Use], zone: str | None, heads: Sequence[str] = (), more: Sequence[Sequence[str]] = ()
) -> str:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width
    from pitbird.cli.times import show_time

    rows = []
    for place, use in enumerate(uses):
        rows.append(
            [
                str(use.index),
                show_time(use.start, zone),
                show_time(use.end, zone) if use.end is not None else "still out",
                code(use.wearer),
                code(use.where) or "-",
                (use.permit or "-") + (f" (untested, {code(use.authority)})" if use.authority else ""),
                *(more[place] if more else ()),
            ]
        )
    names = ["entry", "taken out", "until", "wearer", "place", "permit", *heads]
    return table(names, rows, width=terminal_width())


def _trials(looked: AfterTrials, zone: str | None) -> list[str]:
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time

    named = ", ".join(code(each) for each in looked.of)
    what = "gas from" if looked.sort == "gas" else "tests by"
    without = " without valid training" if looked.untrained is not None else ""
    parts = [
        f"Which work rested on {what} {named}{without}?"
        + (f" (lot {looked.lot})" if looked.lot else "")
        + f"\n{looked.trials} tests and calibrations and {len(looked.uses)} uses are in question."
    ]
    if looked.untrained:
        parts.append("\n".join(_reasons(looked.untrained, zone)))
    if len(looked.of) > 1:
        parts.append(_graph(looked))
    for each in looked.rested:
        until = each.resting.until
        head = (
            f"{code(each.detector)}, {_parts(each.resting.parts)}: {show_time(each.resting.since, zone)} to "
            + (show_time(until, zone) if until is not None else "now")
        )
        uses = _uses(each.uses, zone) if each.uses else "  no hand-out stands in the book for that time"
        parts.append(f"{head}\n{uses}")
    return parts


def _reasons(tests: Iterable[UntrainedTest], zone: str | None) -> Iterator[str]:
    from pitbird.cli.times import show_time
    from pitbird.cli.wording import sentence

    told: dict[str, list[UntrainedTest]] = {}
    for each in tests:
        told.setdefault(sentence(each.finding, zone), []).append(each)
    for words, listed in told.items():
        first, last = show_time(listed[0].at, zone), show_time(listed[-1].at, zone)
        yield f"{words} Passed tests: {len(listed)}, {first}" + (f" to {last}." if len(listed) > 1 else ".")


def _graph(looked: AfterTrials) -> str:
    from pitbird.cli.naming import code
    from pitbird.cli.tables import table, terminal_width
    from pitbird.services.look_back_trials import by_cylinder

    rows = [
        [code(each.cylinder), str(len(each.trials)), ", ".join(map(code, each.detectors)) or "-",
         str(len(each.uses))]
        for each in by_cylinder(looked)
    ]  # fmt: skip
    return table(["cylinder", "rested on", "detectors", "uses"], rows, width=terminal_width())


def _decided(looked: LookBack, zone: str | None) -> str:
    from pitbird.cli.naming import code
    from pitbird.cli.times import show_time

    if not looked.decisions:
        return "Nobody has decided yet whether earlier work is affected."
    lines = []
    for each in looked.decisions:
        newer = looked.newer(each.book_size)
        late = f"; {len(newer)} entries that bear on it came later" if newer else ""
        lines.append(
            f"Decided {show_time(each.row.at, zone)} (entry {each.row.index}): {each.body['outcome']},"
            f" assessed by {code(each.body['assessed_by'])}{late}"
        )
    return "\n".join(lines)


def late(each: Awaiting) -> str:
    """Whether it was decided before, and how much came later."""
    if each.decision is None:
        return "no"
    return f"by entry {each.decision.row.index}, but {len(each.newer)} came later"


def why(each: Awaiting) -> str:
    """Why something awaits a decision."""
    if each.sort == "tester":
        times = "1 time" if len(each.tests) == 1 else f"{len(each.tests)} times"
        return f"tested without valid training, {times}: {each.because}"
    if each.look is None:
        return f"gas in doubt: {each.because}"
    return f"{_trial(each.look.failed)}: {_parts(part for group in each.look.groups for part in group.parts)}"


def _shown(showing: Showing, zone: str | None) -> str:
    from pitbird.cli.times import show_time

    return f"{show_time(showing.at, zone)} (entry {showing.index})"


def _trial(showing: Showing) -> str:
    return "calibration" if showing.trial == "calibration" else "bump test"


def _parts(parts: Iterable[Part]) -> str:
    return ", ".join(part.name or "the detector as a whole" for part in dict.fromkeys(parts))


def _event(each: Happening, zone: str | None) -> str:
    from pitbird.cli.times import show_time

    channels = f" ({', '.join(each.channels)})" if each.channels else ""
    return f"{each.what}{channels}, {show_time(each.at, zone)} (entry {each.index})"
