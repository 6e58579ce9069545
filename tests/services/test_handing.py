"""The parts that a phone carries of the gate's answer for a wearer, held against the gate itself."""

from __future__ import annotations

import inspect
from typing import Any

import pytest

from pitbird.fleet.state import PersonState
from pitbird.fleet.times import Ms, text_of
from pitbird.rules.decision import Verdict
from pitbird.rules.loading import document_of, load_shipped
from pitbird.rules.predicates import PREDICATES
from pitbird.services import handing
from pitbird.services.gate import Around, GateRow, gate, gate_one
from pitbird.services.knowing import Now
from tests.bodies import CHANNELS
from tests.web.conftest import NOON, SITE, TESTER, Cast, ago, cast, detector, passed

__all__ = ["cast"]


def adopt(cast: Cast, strength: str) -> None:
    """Strict rules whose questions about the wearer have a strength, in force for the last four hours."""
    document: dict[str, Any] = {**document_of(load_shipped("strict")), "id": f"own-{strength}"}
    for rule in document["rule"]:
        if rule["predicate"] in {handing.OF_PERSON, handing.OF_HOLDER}:
            rule["strength"] = strength
    draft = {
        "kind": "rules-adopted", "rules": f"rules:own-{strength}", "sites": [SITE], "document": document,
        "effective": text_of(ago(240)),
    }  # fmt: skip
    cast.write(draft, minutes_ago=240)


def people(cast: Cast) -> list[str]:
    """Wearers of every sort: trained, never trained, failed, run out, ending today, leaving."""
    trained: dict[str, dict[str, str] | None] = {
        "P-20": None, "P-21": {"result": "failed"}, "P-22": {"valid_until": "2026-03-01"},
        "P-23": {"valid_until": "2026-03-02"}, "P-24": {},
    }  # fmt: skip
    for code, training in trained.items():
        cast.write(
            {"kind": "person", "person": f"person:{code}", "name": f"Wearer {code}", "roles": ["wearer"],
             "home": SITE, **({"left": "2026-03-02"} if code == "P-24" else {})},
            minutes_ago=100,
        )  # fmt: skip
        if training is not None:
            cast.write(
                {"kind": "training", "person": f"person:{code}", "topic": "wearing", **training},
                minutes_ago=99,
            )
    return [state.subject for state in Now().all_of(PersonState)]


def put_together(row: GateRow, person: handing.Part, other: handing.Part | None) -> tuple[str, Ms | None]:
    """What docs/field.md says that a phone makes of the parts."""
    own = row.decision
    if own.verdict is not Verdict.MAY_GO_OUT:
        return own.verdict, None
    against = [part.verdict for part in (person, other) if part is not None and part.verdict is not None]
    if against:
        return (Verdict.NOT_YET if Verdict.NOT_YET in against else Verdict.CANNOT_TELL), None
    ends = [end for end in (own.until, person.until, other.until if other else None) if end is not None]
    return own.verdict, min(ends)


@pytest.mark.parametrize("strength", ["stops", "warns"])
def test_the_parts_put_together_give_the_gates_own_answer(cast: Cast, strength: str) -> None:
    adopt(cast, strength)
    wearers = people(cast)
    for code, holder, minutes in (("D-030", None, 0), ("D-031", TESTER, 30), ("D-032", "person:P-23", 50)):
        cast.write(detector(code, code), minutes_ago=200)
        cast.write(
            {"kind": "calibration", "detector": f"detector:{code}", "cylinders": ["cylinder:C-112"],
             "result": "passed",
             "channels": [{"channel": c["name"], "applied": "20", "result": "within"} for c in CHANNELS]},
            minutes_ago=199,
        )  # fmt: skip
        cast.write(passed(code, ago(40)), minutes_ago=39, by=cast.tester)
        if holder:
            cast.write(
                {"kind": "handed-out", "detector": f"detector:{code}", "to": holder, "from_store": True},
                minutes_ago=minutes,
            )
    rows = gate(now=NOON, site=SITE).rows
    states = [state for state in Now().all_of(PersonState) if state.subject in wearers]
    parts = dict(zip((s.subject for s in states), handing.of_people(SITE, states, NOON), strict=True))
    others = handing.for_others(rows, Around(Now()))
    assert set(others) == {"detector:D-031", "detector:D-032"}
    found = set()
    for row in rows:
        custody = row.state.custody
        for wearer in wearers:
            held = others.get(row.state.subject) if custody and custody.holder != wearer else None
            made = put_together(row, parts[wearer], held)
            asked = gate_one(row.state.subject, now=NOON, wearer=wearer).decision
            # Where the detector's own answer is no yes, that of the gate for the wearer is none either.
            if row.decision.verdict is Verdict.CANNOT_TELL:
                assert asked.verdict is not Verdict.MAY_GO_OUT
            else:
                assert made == (asked.verdict, asked.until), (row.state.subject, wearer)
            warned = {each.code for each in (*parts[wearer].warns, *(held.warns if held else ()))}
            of_wearer = {handing.OF_PERSON, handing.OF_HOLDER}
            assert warned <= {each.code for each in asked.telling if each.predicate in of_wearer}
            found.add(made[0])
    assert found >= {Verdict.MAY_GO_OUT, Verdict.NOT_YET, Verdict.OUT_OF_SERVICE}


def test_only_two_predicates_look_at_the_wearer() -> None:
    """The parts rest on this: another predicate that asks who takes it needs a part of its own."""
    asking = {
        name
        for name, each in PREDICATES.items()
        if ".wearer" in inspect.getsource(inspect.unwrap(each.judge))
    }
    assert asking == {handing.OF_PERSON, handing.OF_HOLDER}


def test_nobody_holds_a_detector_that_came_back(cast: Cast) -> None:
    cast.write(
        {"kind": "handed-out", "detector": "detector:D-017", "to": TESTER, "from_store": True}, minutes_ago=9
    )
    cast.write({"kind": "handed-back", "detector": "detector:D-017"}, minutes_ago=5)
    assert handing.for_others(gate(now=NOON, site=SITE).rows) == {}
