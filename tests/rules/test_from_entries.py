"""From entries of the book to a decision: the life of one detector, folded and judged by the strict rules."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.folding import fold
from pitbird.fleet.kinds import KINDS
from pitbird.fleet.state import CylinderState, DetectorState, PersonState
from pitbird.fleet.times import ms_of
from pitbird.rules.deciding import decide
from pitbird.rules.decision import Decision, Surroundings, Verdict
from pitbird.rules.loading import load_shipped
from tests.rules.builders import codes

Entry = dict[str, Any]


def _entry(number: int, kind: str, at: str, **fields: Any) -> Entry:
    """An example of a kind, at another time and with other fields."""
    example = dict(KINDS[kind].EXAMPLE)
    moment = f"2026-{at.replace(' ', 'T')}:00.000Z"
    changed = {**example, "id": f"0195a000-0000-7000-8000-{number:012x}", "at": moment, **fields}
    return KINDS[kind].model_validate(changed).as_body()


def _test(number: int, at: str, reached: str = "yes", outcome: str = "passed") -> Entry:
    minute = f"2026-{at.replace(' ', 'T')}"
    application = {
        **KINDS["bump-test"].EXAMPLE["applications"][0],
        "gas_on": f"{minute}:05.000Z",
        "gas_off": f"{minute}:27.000Z",
        "channels": [{"channel": "H2S", "reached": reached}],
    }
    return _entry(number, "bump-test", at, applications=[application], outcome=outcome)


BEGINNING = [
    _entry(1, "detector", "02-02 08:00"),
    _entry(2, "cylinder", "02-02 08:00"),
    _entry(3, "person", "02-02 08:00"),
    _entry(4, "training", "02-02 08:00"),
    _entry(5, "calibration", "02-02 09:00"),
]


def _ask(entries: list[Entry], at: str, wearer: str | None = None) -> Decision:
    """The decision at a time from all entries, each recorded as it happened."""

    def state(subject: str) -> Any:
        about = [(n, e, e["at"]) for n, e in enumerate(entries) if subject in e["about"]]
        return fold(subject, about)

    detector, gas, tester = state("detector:D-017"), state("cylinder:C-112"), state("person:P-07")
    assert isinstance(detector, DetectorState)
    assert isinstance(gas, CylinderState)
    assert isinstance(tester, PersonState)
    surroundings = Surroundings(
        site="site:north-works",
        zone="Europe/Lisbon",
        change_overs=("04:00",),
        rules_over_time=((ms_of("2026-01-01T00:00:00.000Z"), load_shipped("strict")),),
        cylinders={gas.subject: gas},
        people={tester.subject: tester},
    )
    moment = ms_of(f"2026-{at.replace(' ', 'T')}:00.000Z")
    return decide(detector, surroundings, as_of=moment, wearer=wearer)


TESTED = [*BEGINNING, _test(10, "03-02 06:41")]


def test_a_new_detector_goes_out_once_gas_was_shown() -> None:
    assert _ask(BEGINNING, "03-02 06:50").verdict is Verdict.NOT_YET
    decision = _ask(TESTED, "03-02 06:50")
    assert decision.verdict is Verdict.MAY_GO_OUT
    assert decision.until == ms_of("2026-03-03T04:00:00.000Z")
    assert _ask(TESTED, "03-03 04:00").verdict is Verdict.NOT_YET


ENDS: dict[str, tuple[Entry, str]] = {
    "dropped": (_entry(11, "happened", "03-02 08:00"), "event-since-test"),
    "set in fresh air": (_entry(11, "fresh-air-set", "03-02 08:00"), "event-since-test"),
    "calibrated": (_entry(11, "calibration", "03-02 08:00"), "event-since-test"),
    "repaired": (_entry(11, "repaired", "03-02 08:00"), "event-since-test"),
    "handed over by a wearer": (
        _entry(11, "handed-out", "03-02 08:00", from_store=False, due_back=None),
        "handed-over-since-test",
    ),
    "described with another alarm": (
        _entry(
            11,
            "detector",
            "03-02 08:00",
            channels=[{**KINDS["detector"].EXAMPLE["channels"][0], "alarms": [{"name": "high", "at": "8"}]}],
        ),
        "event-since-test",
    ),
    "the cylinder found leaking before the test": (
        _entry(11, "cylinder-quarantined", "03-02 08:00", since="2026-03-01T08:00:00.000Z"),
        "cylinder-quarantined",
    ),
}


@pytest.mark.parametrize("case", ENDS)
def test_what_ends_a_pass(case: str) -> None:
    entry, code = ENDS[case]
    decision = _ask([*TESTED, entry], "03-02 09:00")
    assert decision.verdict is Verdict.NOT_YET
    assert code in [finding.code for finding in decision.findings if finding.decisive]


def test_an_issue_from_the_store_and_an_alarm_in_use_end_nothing() -> None:
    issued = _entry(11, "handed-out", "03-02 07:00")
    alarmed = _entry(12, "alarm-in-use", "03-02 08:00")
    assert _ask([*TESTED, issued, alarmed], "03-02 09:00", wearer="person:P-12").verdict is Verdict.MAY_GO_OUT


def test_the_way_back_after_a_failed_test() -> None:
    failed = [*TESTED, _test(11, "03-02 10:00", reached="no", outcome="failed")]
    assert _ask(failed, "03-02 10:30").verdict is Verdict.OUT_OF_SERVICE

    answer = {"answers": [failed[-1]["id"]], "tested": None}
    returned = _entry(14, "returned-to-service", "03-02 14:00", **answer)
    hasty = _ask([*failed, returned], "03-02 14:30")
    assert hasty.verdict is Verdict.NOT_YET
    assert "not-mended-since-failure" in codes(hasty)

    repaired = [*failed, _entry(12, "repaired", "03-02 12:00")]
    untested = _ask([*repaired, returned], "03-02 14:30")
    assert untested.verdict is Verdict.NOT_YET
    assert "no-pass-since-mending" in codes(untested)

    tested = [*repaired, _test(13, "03-02 13:00")]
    assert _ask(tested, "03-02 13:30").verdict is Verdict.OUT_OF_SERVICE
    assert _ask([*tested, returned], "03-02 14:30").verdict is Verdict.MAY_GO_OUT


def test_an_entry_of_an_unknown_kind_cannot_be_told() -> None:
    strange = {**_entry(11, "note", "03-02 08:00"), "kind": "exorcised"}
    assert _ask([*TESTED, strange], "03-02 09:00").verdict is Verdict.CANNOT_TELL
