"""What every paper needs: its entries with their corrections, the names, and its checkpoint."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.utils import translation

from pitbird.fleet.folding import trace
from pitbird.fleet.state import CylinderState, DetectorState, OtherState, PersonState, SiteState, State
from pitbird.fleet.times import Ms, ms_from
from pitbird.papers import loud as loud_paper
from pitbird.papers.locales import locale_of
from pitbird.papers.reading import WITHHELD, Reader, Written, code
from pitbird.papers.sheet import Leaf, Sealed, Sheet, Standing, print_sheet
from pitbird.papers.typesetting import PAPERS, Paper
from pitbird.record.leaf import read_leaf
from pitbird.rules.decision import Decision
from pitbird.services import clock, correcting, people
from pitbird.services.checkpoints import check_kept, kept, make_checkpoint
from pitbird.services.knowing import Now
from pitbird.services.loud import loud
from pitbird.services.moving import BookEmpty
from pitbird.services.papers.press import Press
from pitbird.services.refolding import entries_about, refold
from pitbird.store import book
from pitbird.store.models import Entry

#: More lines than this are no paper to hold in hand.
MOST: Final = 2000
#: What has a name of its own.
_PEOPLE: Final = ("person:", "site:")


_CHANGED: Final = (
    "The book that this was printed from does not go on from its newest checkpoint. Its keeper is to run "
    "`pitbird doctor`, and to compare the book with a checkpoint or an export that others hold."
)


class PaperRefused(ValueError):
    """A paper cannot be made as it was asked for; each line names what, and what to do."""


class NoSuchPaper(PaperRefused):
    """The book has not what the paper is to be about."""


@dataclass(frozen=True)
class Order:
    """How a paper is asked for: the home folder with the book's key, its passphrase, size and locale.

    ``people`` False: people are named by their codes only. ``press``: the helper that sets the paper, else it
    is set in this process.
    """

    home: Path
    passphrase: bytes | None = None
    paper: str = "a4"
    locale: str = "en-GB"
    now: Ms | None = None
    people: bool = True
    press: Press | None = None

    @property
    def made_at(self) -> Ms:
        """The moment of making."""
        return clock.now() if self.now is None else self.now

    def checked(self) -> Order:
        """The same with its moment fixed. Raises PaperRefused with every fault."""
        faults = []
        if self.paper not in PAPERS:
            faults.append(f"paper: {self.paper!r} is none of {', '.join(PAPERS)}")
        try:
            locale_of(self.locale)
        except ValueError as fault:
            faults.append(str(fault))
        if faults:
            raise PaperRefused("\n".join(faults))
        return replace(self, now=self.made_at)


@dataclass(frozen=True)
class Made:
    """A paper: what its file is called, and its bytes."""

    name: str
    pdf: bytes


def printed(name: str, sheet: Sheet, order: Order) -> Made:
    """The PDF of a sheet under a name."""
    made_at = datetime.fromtimestamp(order.made_at / 1000, UTC)
    size: Paper = "us-letter" if order.paper == "us-letter" else "a4"
    make = print_sheet if order.press is None else order.press.print_sheet
    return Made(f"{name}.pdf", make(sheet, made_at=made_at, paper=size))


def book_id() -> str:
    """The id of the book: that of its first entry. Raises NoSuchPaper."""
    first = book.at_index(0)
    if first is None:
        raise NoSuchPaper("the book has not been begun; there is nothing to print")
    return first.entry_id


def reader(
    order: Order, zone: str | None, entries: Iterable[Written] = (), *, subjects: Iterable[str] = ()
) -> Reader:
    """The words for a paper about these entries, and about these subjects beside them."""
    bodies = [entry.body for entry in _with_corrections(entries)]
    named = {*subjects, *(found for body in bodies for found in _strings(body) if found.startswith(_PEOPLE))}
    sealed = {found for body in bodies for found in _strings(body) if found.startswith("sha256:")}
    first = book.at_index(0)
    return Reader(
        made_at=order.made_at,
        zone=zone or "UTC",
        locale=locale_of(order.locale),
        book=book_id(),
        title=str(read_leaf(first.leaf.encode()).body["title"]) if first else "",
        names=names(named) if order.people else names(each for each in named if each.startswith("site:")),
        texts=people.texts(sealed),
        gettext=partial(_say, locale_of(order.locale).language),
    )


def _say(language: str, message: str) -> str:
    with translation.override(language):
        return translation.gettext(message)


def names(subjects: Iterable[str]) -> dict[str, str]:
    """The names of people and sites; of a person whose name was erased, that it is withheld."""
    wanted = sorted({each for each in subjects if each.startswith(_PEOPLE)})
    states = Now().some(wanted)
    open_names = people.names(each for each in wanted if each.startswith("person:"))
    found = {}
    for subject, state in states.items():
        if isinstance(state, SiteState) and state.name:
            found[subject] = state.name
        elif isinstance(state, PersonState):
            erased = f"{code(subject)}, name {WITHHELD}" if state.name else code(subject)
            found[subject] = open_names.get(subject, erased)
    return found


def named_in(decision: Decision) -> set[str]:
    """The people and sites that the findings of a decision name."""
    return {
        value for finding in decision.findings for _name, value in finding.facts if value.startswith(_PEOPLE)
    }


def _strings(value: Any) -> Iterable[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for part in value.values():
            yield from _strings(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from _strings(part)


def _with_corrections(entries: Iterable[Written]) -> Iterable[Written]:
    for entry in entries:
        yield entry
        yield from entry.corrections


def written(row: book.Row) -> Written:
    """One entry with its corrections."""
    made = tuple(_plain(other) for other, _body in correcting.corrections_of(row.entry_id))
    return _plain(row, made)


def written_all(rows: Sequence[book.Row], *, until: Ms | None = None) -> tuple[Written, ...]:
    """Entries with their corrections, what the bump tests among them amount to, and which are left out; all
    read once for all of them. ``until`` is an instant by which all of them had happened."""
    if not rows:
        return ()
    wanted = {row.entry_id for row in rows}
    made: dict[str, list[Written]] = {}
    behind = Entry.objects.filter(kind="correction", index__gt=min(row.index for row in rows))
    for found in behind.order_by("index").values_list(*book.Row.__struct_fields__):
        correction = _plain(book.row_of(found))
        if correction.body["corrects"] in wanted:
            made.setdefault(correction.body["corrects"], []).append(correction)
    entries = [_plain(row, tuple(made.get(row.entry_id, ()))) for row in rows]
    left_out = _left_out(entries)
    outcomes = _outcomes(entries, until)
    return tuple(
        replace(entry, amounts_to=outcomes.get(entry.entry_id, ""), left_out=entry.entry_id in left_out)
        for entry in entries
    )


def _left_out(entries: Iterable[Written]) -> set[str]:
    """The entries that do not count for their clock, by the states of what they are about."""
    about = {subject for entry in entries for subject in entry.body.get("about", ())}
    return {found for state in Now().some(sorted(about)).values() for found in state.doubtful}


def _outcomes(entries: Iterable[Written], until: Ms | None) -> dict[str, str]:
    """By entry: the outcome that the facts of each bump test amount to, as it counts now."""
    by_detector: dict[str, set[str]] = {}
    for entry in entries:
        counts = entry.counts
        if counts is not None and counts["kind"] == "bump-test":
            by_detector.setdefault(counts["detector"], set()).add(entry.entry_id)
    found: dict[str, str] = {}
    for detector, wanted in by_detector.items():
        # The last tests stand in the state; older ones only in the states that it went through.
        state = refold(detector, until=until)
        known = _tests(state)
        if not wanted <= known.keys():
            for state in trace(detector, entries_about(detector)):
                known |= _tests(state)
        found |= known
    return found


def _tests(state: State) -> dict[str, str]:
    tests = state.tests if isinstance(state, DetectorState) else ()
    return {test.entry: test.outcome for test in tests}


def _plain(row: book.Row, corrections: tuple[Written, ...] = ()) -> Written:
    leaf = read_leaf(row.leaf.encode())
    return Written(
        row.index, row.entry_id, row.leaf_hash, Ms(row.recorded_at), leaf.body, leaf.nth, corrections
    )


def entry_of_kind(index: int, kind: str) -> Written:
    """The entry at a place of the book. Raises NoSuchPaper where there is none, or it is of another kind."""
    row = book.at_index(index) if 0 <= index < 2**62 else None
    if row is None:
        raise NoSuchPaper(f"entry: the book has no entry {index}; it has {book.head().size}")
    if row.kind != kind:
        raise NoSuchPaper(f"entry: entry {index} is a {row.kind}, not a {kind}")
    return written(row)


def zone_of(site: str | None) -> str | None:
    """The clock of a site; None while none is known."""
    state = Now().state(site) if site else None
    return state.zone or None if isinstance(state, SiteState) else None


def midnight(day: date, zone: str | None, *, field: str) -> Ms:
    """The instant at which a day begins on a clock (UTC where none is known). Raises PaperRefused."""
    if not 1970 <= day.year <= 9998:
        raise PaperRefused(f"{field}: {day.isoformat()} is no day of this book")
    return ms_from(datetime.combine(day, time(), ZoneInfo(zone or "UTC")).astimezone(UTC))


def days(first: date | None, last: date | None, zone: str | None) -> tuple[Ms | None, Ms | None]:
    """``[since, until)`` of a period by its first and last day, both included. Raises PaperRefused."""
    if first is not None and last is not None and last < first:
        raise PaperRefused(f"last: {last.isoformat()} lies before the first day, {first.isoformat()}")
    since = midnight(first, zone, field="first") if first is not None else None
    after = last + timedelta(days=1) if last is not None and last.year < 9999 else last
    return since, midnight(after, zone, field="last") if after is not None else None


def loud_of(state: DetectorState, as_of: Ms, zone: str | None) -> loud_paper.LoudOf:
    """What is loud of a detector at a moment."""
    found = loud(state, as_of, zone)
    issue = found.untested
    return loud_paper.LoudOf(
        held_since=found.held.at if found.held else None,
        untested=loud_paper.Untested(issue.to, issue.authority, issue.until) if issue else None,
        endings=tuple((each.day, each.channel, each.days_left) for each in found.endings),
        left_out=found.left_out,
    )


def described(state: CylinderState | OtherState) -> Mapping[str, Any]:
    """The body by which a thing is described as it counts now; empty where it was never described."""
    row = book.by_id(state.described_by) if state.described_by else None
    if row is None:
        return {}
    body = read_leaf(row.leaf.encode()).body
    if body["kind"] == "correction":
        return body.get("replacement") or {}
    return correcting.what_counts(row) or {}


def standing(order: Order, leaf: Leaf | None, *, what: str = "this entry") -> Standing:
    """The checkpoint that a paper stands under, made now where the book grew; else in words why it is an
    older one or none. ``what`` says what the leaf is of the paper."""
    try:
        made = make_checkpoint(order.home, order.passphrase).checkpoint
    except BookEmpty:
        raise NoSuchPaper("the book has not been begun; there is nothing to print") from None
    except (ValueError, OSError):  # what lies beside the book may be anything
        return _without(order, leaf, what)
    said = [f"Signed when this was printed: the book then held {made.size} entries."]
    if leaf is not None:
        said.append(f"The entry, its leaf hash and the code are those of {what}.")
    return Standing(leaf, Sealed(made.origin, made.size, made.root), tuple(said))


def _without(order: Order, leaf: Leaf | None, what: str) -> Standing:
    """How a paper stands where no checkpoint could be made."""
    if check_kept(order.home).complaint:
        return Standing(leaf, None, ("It stands under no checkpoint.",), alarm=_CHANGED)
    why = "No checkpoint could be made for it: the book’s key, its passphrase or its folder was not at hand."
    try:
        older = kept(order.home)
    except (ValueError, OSError):
        older = None
    if older is None:
        return Standing(leaf, None, (why, "It stands under no checkpoint; ask the keeper for one."))
    found = older.checkpoint
    sealed = Sealed(found.origin, found.size, found.root)
    if leaf is not None and leaf.index >= found.size:
        covers = f"The newest one, of {found.size} entries, is older than {what} and does not cover it."
    elif leaf is not None:
        covers = f"It stands under an older one, of {found.size} entries, which holds {what}."
    else:
        covers = f"It stands under an older one, of {found.size} entries; what came later is not covered."
    return Standing(leaf, sealed, (why, covers))
