"""The standing of a cylinder: what is in it, what speaks against it, what is left, what was done with it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pitbird.fleet.state import CylinderState
from pitbird.fleet.times import Ms, local
from pitbird.papers.bump_test import Gas, gas_words
from pitbird.papers.loud import lapsed
from pitbird.papers.reading import Reader, code, word
from pitbird.papers.sheet import (
    Empty,
    Facts,
    Keyed,
    Listed,
    Loud,
    Part,
    Section,
    Sheet,
    Standing,
    Strong,
    Table,
    Text,
    Words,
)


@dataclass(frozen=True)
class Left:
    """What is left, as far as it can be told: litres, tests (low, likely, high), days; what is taken for
    granted, and why nothing can be said."""

    litres: float | None = None
    tests: tuple[int, int, int] | None = None
    days: float | None = None
    assumed: tuple[str, ...] = ()
    why: tuple[str, ...] = ()


@dataclass(frozen=True)
class Serves:
    """One type of detector in this gas: its name, how many there are, the answer, the time of the slowest
    alarm and the loss that a pass could hide [-]."""

    type: str
    count: int
    answer: str
    slowest_s: float | None
    loss: float | None


@dataclass(frozen=True)
class Cylinder:
    """What the paper is made from; ``question`` is the failed test by which its gas is to be asked first."""

    gas: Gas
    as_of: Ms
    left: Left
    serves: Sequence[Serves]
    gas_on_s: float
    question: str = ""


def sheet(cylinder: Cylinder, reader: Reader, standing: Standing) -> Sheet:
    """The standing of a cylinder at a moment."""
    state = cylinder.gas.state
    name = code(state.subject)
    return Sheet(
        title=f"Cylinder {name}",
        running=f"Cylinder {name} · as of {reader.moment(cylinder.as_of)}",
        foot=reader.foot(),
        answer=(Strong(_answer(cylinder, reader)),),
        opening=_opening(cylinder, reader),
        sections=(
            Section("The gas", (Facts(_described(cylinder, reader)),)),
            Section("What is left", _left(cylinder.left, reader, emptied=_emptied(cylinder))),
            Section("What was done", (Facts(_done(state, reader)),)),
            Section("Which detectors it serves", (_serves(cylinder, reader),), wide=True),
            Section("Quarantine", (_withdrawn(state, reader),)),
            Section("Gauge", (_gauges(state, reader),)),
        ),
        shows=("What the book holds about this cylinder, and what its certificate says of the gas.",),
        shows_not=(
            "What is in the cylinder now: reactive gas at few ppm can fade, most of all near the end.",
            "That a test on it passes. The figures of what is left are reckoned, and no promise.",
        ),
        standing=standing,
        locale=reader.locale.tag,
    )


def troubles(cylinder: Cylinder, reader: Reader) -> tuple[str, ...]:
    """Everything for which the cylinder should serve no test, or soon will not; empty for nothing."""
    state, now = cylinder.gas.state, cylinder.as_of
    found = []
    if state.described_by is None:
        found.append("It is not described in the book.")
    if state.emptied_at is not None and _emptied(cylinder):
        found.append(f"EMPTIED on {reader.moment(state.emptied_at)}.")
    span = state.withdrawn_at(now)
    if span is not None:
        found.append(
            f"IN QUARANTINE since {reader.moment(span.since)}: {word(span.because or 'not stated')}."
        )
    if state.expires is None:
        found.append("No last day of use is known.")
    elif lapsed(state.expires, local(now, reader.zone).date()):
        found.append(f"OUT OF DATE: its last day of use was {reader.day(state.expires)}.")
    if _low(state):
        found.append("AT OR BELOW ITS MINIMUM PRESSURE by the last gauge reading.")
    if cylinder.question:
        found.append(f"IN QUESTION: {cylinder.question} Ask the gas first, then the detectors.")
    if state.doubtful or state.not_understood:
        found.append(
            "Entries about it are left out: their clock cannot be right, or their kind is not known."
        )
    return tuple(found)


def _emptied(cylinder: Cylinder) -> bool:
    emptied_at = cylinder.gas.state.emptied_at
    return emptied_at is not None and emptied_at <= cylinder.as_of


def _low(state: CylinderState) -> bool:
    if not state.gauges or state.minimum_pressure_bar is None:
        return False
    try:
        return float(state.gauges[0].bar) <= float(state.minimum_pressure_bar)
    except ValueError:
        return True


def _answer(cylinder: Cylinder, reader: Reader) -> str:
    state = cylinder.gas.state
    if troubles(cylinder, reader):
        return "There is something against using it; see below."
    return "In use." if state.opened_at is not None else "In stock, not opened."


def _opening(cylinder: Cylinder, reader: Reader) -> tuple[Part, ...]:
    found = troubles(cylinder, reader)
    return (Loud("Not for testing as it stands", found),) if found else ()


def _described(cylinder: Cylinder, reader: Reader) -> tuple[tuple[str, Words], ...]:
    state = cylinder.gas.state
    bar = [
        ("Full", state.full_pressure_bar, "bar"), ("Use down to", state.minimum_pressure_bar, "bar"),
        ("Gas when full", state.free_gas_l, "l"), ("Water capacity", state.water_capacity_l, "l"),
        ("Use down to", state.minimum_temperature_c, "°C"),
    ]  # fmt: skip
    return (
        ("Cylinder", Keyed(code(state.subject))),
        *gas_words(cylinder.gas, reader),
        *(
            (f"Uncertainty of {each.gas}", f"{reader.number(each.expanded_uncertainty_pct)} % (k = 2)")
            for each in state.components
            if each.expanded_uncertainty_pct is not None
        ),
        *((term, reader.number(value, unit)) for term, value, unit in bar if value is not None),
        ("Belongs to", reader.name(state.site) or "no site"),
    )


def _left(left: Left, reader: Reader, *, emptied: bool) -> tuple[Part, ...]:
    if emptied:
        return (Text("Nothing: it was emptied."),)
    if left.tests is None:
        why = "; ".join(left.why) or "too little is known of it"
        return (Empty(f"It cannot be told: {why}."),)
    low, likely, high = left.tests
    pairs: list[tuple[str, Words]] = [("Tests", f"about {likely}, between {low} and {high}")]
    if left.litres is not None:
        pairs.append(("Gas that can be used", reader.number(f"{left.litres:.1f}", "l")))
    if left.days is not None:
        pairs.append(("Days at the pace so far", f"about {left.days:.0f}"))
    if left.assumed:
        pairs.append(("Taken for granted", "; ".join(left.assumed)))
    return (Facts(tuple(pairs)),)


def _done(state: CylinderState, reader: Reader) -> tuple[tuple[str, Words], ...]:
    times = (("Received", state.received_at), ("Put to use", state.opened_at), ("Emptied", state.emptied_at),
             ("Last test on it", state.last_test_at))  # fmt: skip
    minutes = reader.number(f"{state.gas_on_ms / 60_000:.1f}")
    return (
        *((term, reader.moment(at)) for term, at in times if at is not None),
        ("Regulator", Keyed(code(state.regulator)) if state.regulator else "not stated"),
        ("Tests on it", f"{state.tests}, of which {state.fails} failed; {state.spoiled} spoiled attempts"),
        ("Gas on, minutes in all", minutes),
    )


def _serves(cylinder: Cylinder, reader: Reader) -> Part:
    if not cylinder.serves:
        return Empty("The book knows no detector.")
    rows = tuple(
        (
            each.type,
            str(each.count),
            each.answer,
            reader.number(f"{each.slowest_s:.0f}") if each.slowest_s is not None else "not known",
            reader.number(f"{each.loss * 100:.0f}", "%") if each.loss is not None else "not known",
        )
        for each in cylinder.serves
    )
    seconds = f"{cylinder.gas_on_s:g}"
    head = ("Type", "Detectors", f"With {seconds} s of gas", "Slowest alarm after, s", "Loss a pass can miss")
    return Table(head, rows, (3, 1.2, 3, 2, 2), ("left", "right", "left", "right", "right"))


def _withdrawn(state: CylinderState, reader: Reader) -> Part:
    lines: tuple[Words, ...] = tuple(
        f"{reader.moment(span.since)} until {_until(span.until, reader)}: {word(span.because or 'other')}"
        for span in state.withdrawn
    )
    return Listed(lines) if lines else Empty("It was never in quarantine.")


def _until(until: Ms | None, reader: Reader) -> str:
    return "further notice" if until is None else reader.moment(until)


def _gauges(state: CylinderState, reader: Reader) -> Part:
    lines: tuple[Words, ...] = tuple(
        f"{reader.moment(gauge.at)}: {reader.number(gauge.bar, 'bar')}" for gauge in state.gauges[:12]
    )
    return Listed(lines) if lines else Empty("Its gauge has not been read.")
