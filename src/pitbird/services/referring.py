"""What an entry refers to by id must stand in the book, and be what the entry takes it for."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pitbird.fleet.folding.item import clock_in_doubt, mends, permits, runs_ahead
from pitbird.fleet.kinds.base import Body
from pitbird.fleet.kinds.gas_stock import CylinderReleased
from pitbird.fleet.kinds.ledger import Correction
from pitbird.fleet.kinds.life import ReturnedToService
from pitbird.fleet.kinds.look_back import LookBack
from pitbird.fleet.state import CylinderState, DetectorState
from pitbird.fleet.times import Ms, ms_of, text_of
from pitbird.intake.entries import read_body
from pitbird.intake.faults import Fault
from pitbird.record.leaf import read_leaf
from pitbird.services.correcting import NEVER_CORRECTED, touched_by
from pitbird.services.knowing import Now
from pitbird.store import book


def check_references(body: Body) -> tuple[Fault, ...]:
    """Every id in an entry that names nothing, or something else than it must; all at once."""
    if isinstance(body, Correction):
        return tuple(_correction(body))
    if isinstance(body, ReturnedToService):
        return tuple(_return(body))
    if isinstance(body, CylinderReleased):
        return tuple(_release(body))
    if isinstance(body, LookBack):
        return tuple(_look_back(body))
    return ()


def _stands(entry_id: str) -> dict[str, Any] | None:
    row = book.by_id(entry_id)
    return read_leaf(row.leaf.encode()).body if row else None


def _correction(body: Correction) -> Iterator[Fault]:
    original = _stands(body.corrects)
    if original is None:
        yield Fault("correction.corrects", body.corrects, "no entry in this book has that id")
        return
    if original["kind"] in NEVER_CORRECTED:
        problem = f"a {original['kind']} cannot be corrected; correct the entry that it names anew instead"
        yield Fault("correction.corrects", body.corrects, problem)
        return
    touched = touched_by(body.corrects)
    if set(body.of_about) != set(touched):
        problem = f"must repeat what the corrected entry and its corrections are about: {list(touched)}"
        yield Fault("correction.of_about", str(list(body.of_about)), problem)
    if body.replacement is None:
        return
    for field in ("id", "kind"):
        if body.replacement.get(field) != original[field]:
            problem = f"must stay {original[field]!r}: a replacement keeps the {field} of what it replaces"
            yield Fault(f"correction.replacement.{field}", str(body.replacement.get(field)), problem)
    faults = read_body(body.replacement)[1]
    for fault in faults:
        yield Fault(f"correction.replacement.{fault.where.partition('.')[2]}", fault.value, fault.problem)
    if faults or not (permits(body.replacement) or mends(body.replacement)):
        return
    if (recorded := _recorded_before(body.corrects, body.replacement["at"])) is not None:
        problem = (
            f"lies after {text_of(recorded)}, when the entry was recorded; it cannot have happened later"
        )
        yield Fault("correction.replacement.at", str(body.replacement["at"]), problem)
    if body.by == original["by"] and _of_doubtful_clock(body.corrects):
        problem = "wrote this entry, whose clock cannot be right; a second person says when it happened"
        yield Fault("correction.by", body.by, problem)


def _recorded_before(entry_id: str, at: str) -> Ms | None:
    """When an entry was recorded, where that lies before a time at which it is said to have happened."""
    row = book.by_id(entry_id)
    return Ms(row.recorded_at) if row is not None and runs_ahead(ms_of(at), Ms(row.recorded_at)) else None


def _of_doubtful_clock(entry_id: str) -> bool:
    """Whether an entry is dated after it was recorded, or by a phone whose clock was ahead."""
    row = book.by_id(entry_id)
    return row is not None and clock_in_doubt(read_leaf(row.leaf.encode()).body, Ms(row.recorded_at))


def _return(body: ReturnedToService) -> Iterator[Fault]:
    state = Now().state(body.detector)
    if not isinstance(state, DetectorState):
        return
    reasons = {reason.entry for reason in state.open_reasons}
    for place, answer in enumerate(body.answers):
        if answer not in reasons:
            problem = f"is no open reason why {body.detector} is out of service"
            yield Fault(f"returned-to-service.answers.{place}", answer, problem)
    if body.tested is not None and body.tested not in {test.entry for test in state.tests}:
        problem = f"is none of the recent bump tests of {body.detector}"
        yield Fault("returned-to-service.tested", body.tested, problem)


def _release(body: CylinderReleased) -> Iterator[Fault]:
    state = Now().state(body.cylinder)
    if not isinstance(state, CylinderState):
        return
    held = {span.entry for span in state.withdrawn if span.until is None}
    held |= {failure.entry for failure in state.failures if failure.until is None}
    for place, answer in enumerate(body.answers):
        if answer not in held:
            problem = f"is no open quarantine of {body.cylinder}, nor a failed test on it"
            yield Fault(f"cylinder-released.answers.{place}", answer, problem)


def _look_back(body: LookBack) -> Iterator[Fault]:
    size = book.head().size
    if body.book_size > size:
        yield Fault("look-back.book_size", str(body.book_size), f"the book holds no more than {size} entries")
    if body.failed is None:
        return
    original = _stands(body.failed)
    if original is None:
        yield Fault("look-back.failed", body.failed, "no entry in this book has that id")
    elif original["kind"] not in {"bump-test", "calibration"} or body.of[0] not in touched_by(body.failed):
        yield Fault("look-back.failed", body.failed, f"is no bump test or calibration of {body.of[0]}")
