"""Random histories against the literal reading of the rules; the bench lives ten thousand of them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from random import Random
from typing import Any

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from pitbird.fleet.times import HOUR, Ms, text_of
from pitbird.services.gate import gate_one
from tests.bodies import body, bump
from tests.histories import CYLINDERS, DETECTORS, PEOPLE, START, History, random_act, run

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
N = st.integers(0, 999)
FLAW = st.sampled_from((0, 0, 0, 0, 0, 1, 2, 2, 3, 4, 5, 6, 7, 8, 9))


@contextmanager
def taken_back() -> Iterator[None]:
    """Everything written inside is rolled back."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


class Fleet(RuleBasedStateMachine):
    """Two detectors, three cylinders, careless people: after every act the gate and the rules agree."""

    def __init__(self) -> None:
        super().__init__()
        self._book = taken_back()
        self._book.__enter__()
        self.history = History()

    def teardown(self) -> None:
        """Take the book back."""
        self._book.__exit__(None, None, None)

    @rule(steps=N)
    def wait(self, steps: int) -> None:
        self.history.wait(steps)

    @rule(detector=N, cylinder=N, person=N, offset=N, flaw=FLAW)
    def test(self, detector: int, cylinder: int, person: int, offset: int, flaw: int) -> None:
        self.history.test(detector, cylinder, person, offset, flaw)

    @rule(detector=N, what=N, offset=N)
    def happens(self, detector: int, what: int, offset: int) -> None:
        self.history.happens(detector, what, offset)

    @rule(detector=N, result=N, offset=N)
    def calibrate(self, detector: int, result: int, offset: int) -> None:
        self.history.calibrate(detector, result, offset)

    @rule(detector=N, how=N, offset=N)
    def returns(self, detector: int, how: int, offset: int) -> None:
        self.history.returns(detector, how, offset)

    @rule(cylinder=N, how=N, offset=N)
    def doubts_gas(self, cylinder: int, how: int, offset: int) -> None:
        self.history.doubts_gas(cylinder, how, offset)

    @rule(person=N, result=N)
    def trains(self, person: int, result: int) -> None:
        self.history.trains(person, result)

    @rule(which=N, how=N, minutes=N)
    def corrects(self, which: int, how: int, minutes: int) -> None:
        self.history.corrects(which, how, minutes)

    @rule(which=N)
    def sends_again(self, which: int) -> None:
        self.history.sends_again(which)

    @rule()
    def erases(self) -> None:
        self.history.erases()

    @invariant()
    def gate_and_rules_agree(self) -> None:
        """The check after every act."""
        self.history.check()


def test_whatever_is_written_the_gate_and_the_literal_reading_agree() -> None:
    run_state_machine_as_test(
        Fleet, settings=settings(max_examples=40, stateful_step_count=25, deadline=None)
    )


def test_seeded_histories_agree_and_some_of_them_let_a_detector_out() -> None:
    """As the bench does it, with fewer; that there are yeses among the answers shows that it can fail."""
    from pitbird.rules.decision import Verdict

    yes = 0

    def check(history: History) -> None:
        nonlocal yes
        history.check()
        verdicts = [gate_one(d, now=history.now).decision.verdict for d in DETECTORS]
        yes += verdicts.count(Verdict.MAY_GO_OUT)

    for seed in range(40):
        random = Random(seed)
        with taken_back():
            run([random_act(random) for _ in range(30)], each=check)
    assert yes > 100


def _failed_test(history: History, cylinder: int, when: int, **fields: Any) -> None:
    made = bump(text_of(Ms(when)), detector=DETECTORS[0], by=PEOPLE[0], missed="CO", **fields)
    made["applications"][0]["cylinder"] = CYLINDERS[cylinder]
    made["about"] = [DETECTORS[0], CYLINDERS[cylinder]]
    history._write(made)


@pytest.mark.parametrize("how", ["a repair dated ahead", "a fail by a phone behind"])
def test_what_was_not_mended_after_the_last_failure_stays_in(how: str) -> None:
    """A repair by a clock that cannot be right; or one before a fail that can have come after it."""
    history = History()
    _failed_test(history, 0, history.now)
    history.wait(1)
    ahead = 30 * HOUR if how == "a repair dated ahead" else 0
    history._write(body("repaired", text_of(Ms(history.now + ahead)), detector=DETECTORS[0]))
    history.wait(2)
    if not ahead:
        phone = {"device": "device:PH-1", "known_by": "pin", "contact": text_of(START), "ahead_s": "-90000"}
        _failed_test(history, 1, history.now - 26 * HOUR, phone=phone)
    history.returns(0, 0, 0)
    history.wait(1)
    history.test(0, 0, 0, 0, 0)
    history.check()
    decision = gate_one(DETECTORS[0], now=history.now).decision
    assert decision.decisive is not None
    assert decision.decisive.code == "not-mended-since-failure"
