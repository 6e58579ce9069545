"""The standing of a cylinder, as a paper."""

from __future__ import annotations

from typing import Final

from pitbird.fleet.state import CylinderState
from pitbird.papers.bump_test import Gas
from pitbird.papers.cylinder_standing import Cylinder, Left, Serves, sheet
from pitbird.papers.reading import Reader, code
from pitbird.services.gas_left import gas_left
from pitbird.services.gas_questions import GasQuestion, gas_questions
from pitbird.services.knowing import Now
from pitbird.services.papers import making
from pitbird.services.papers.making import Made, NoSuchPaper, Order
from pitbird.services.serving import GAS_ON_S, TypeServed, types_served
from pitbird.store import book

_ANSWERS: Final = {
    "serves": "serves every alarm",
    "in-part": "serves in part; needs another cylinder",
    "not": "DOES NOT SERVE",
    "cannot-tell": "cannot be told",
}


def cylinder_standing(cylinder: str, order: Order) -> Made:
    """What a cylinder holds, what speaks against it, what is left and whom it serves. Raises PaperRefused."""
    order = order.checked()
    state, now = Now().state(cylinder), order.made_at
    if not isinstance(state, CylinderState):
        raise NoSuchPaper(f"cylinder: the book knows no cylinder {code(cylinder)!r}")
    read = making.reader(order, making.zone_of(state.site), subjects=[state.site] if state.site else [])
    told = Cylinder(
        gas=Gas(state, traceable_to=str(making.described(state).get("traceable_to") or "")),
        as_of=now,
        left=_left(state, order),
        serves=[_serves(each) for each in types_served(state, site=state.site)],
        gas_on_s=GAS_ON_S,
        question=_question(gas_questions([state], now).get(cylinder), read),
    )
    row = next(iter(book.newest(1, subject=cylinder)), None)
    leaf = making.written(row).leaf(read.book) if row else None
    stands = making.standing(order, leaf, what="the newest entry about it")
    return making.printed(f"cylinder-{code(cylinder)}", sheet(told, read, stands), order)


def _left(state: CylinderState, order: Order) -> Left:
    found = gas_left(state, now=order.made_at)
    if found.tests is None or found.tests_low is None or found.tests_high is None:
        return Left(assumed=found.assumed, why=found.why)
    tests = (found.tests_low, found.tests, found.tests_high)
    return Left(found.usable_l, tests, found.days, found.assumed)


def _serves(each: TypeServed) -> Serves:
    name = f"{each.make} {each.model}".strip() or "not described"
    answer = _ANSWERS[each.serves]
    if each.delivered.finding:
        share = 100 * each.delivered.delivery.share
        answer += f"; its regulator gives less than the pump draws, {share:.3g} % of it is test gas"
    return Serves(name, len(each.detectors), answer, each.slowest_s, each.worst_loss)


def _question(question: GasQuestion | None, read: Reader) -> str:
    if question is None:
        return ""
    failure = question.failure
    said = f"{code(failure.detector)} failed a test on it, {read.moment(failure.at)}"
    return f"{said}; {failure.in_a_row} in a row, {failure.detectors} different detectors."
