"""Random histories against the literal reading of the rules; the bench lives ten thousand of them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from random import Random

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.histories import History, random_act, run

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
    from pitbird.services.gate import gate_one
    from tests.histories import DETECTORS

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
