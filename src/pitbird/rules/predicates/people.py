"""Predicates about people: the tester was trained at the time of the test, the wearer is trained now."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from pitbird.fleet.state import PersonState, TrainingFact
from pitbird.fleet.times import Ms
from pitbird.rules.decision import Finding
from pitbird.rules.predicates.base import (
    MET,
    NOT_APPLICABLE,
    NOT_MET,
    TOPICS,
    UNKNOWN,
    Attempt,
    Bound,
    Code,
    Kind,
    Moment,
    Parameter,
    Scope,
    end_of_day,
    predicate,
    real_day,
)


def _people(remedy: str) -> dict[str, Code]:
    return {
        "person-not-known": Code(UNKNOWN, "describe-person"),
        "training-not-readable": Code(UNKNOWN, "describe-person"),
        "no-site-clock": Code(UNKNOWN, "describe-site"),
        "never-trained": Code(NOT_MET, remedy),
        "training-failed": Code(NOT_MET, remedy),
        "training-run-out": Code(NOT_MET, remedy),
        "person-had-left": Code(NOT_MET, remedy),
    }


_TOPIC: Final = Parameter("topic", Kind.WORD, "the training asked for", choices=TOPICS)


def _training(person: PersonState, topic: str, by: Ms) -> TrainingFact | None:
    """The newest training on a topic by an instant; of two at once the failed one."""
    newest: TrainingFact | None = None
    for training in person.trainings:
        if training.topic != topic or training.at > by:
            continue
        if newest is None or training.at > newest.at or (training.at == newest.at and not training.passed):
            newest = training
    return newest


def _judge(
    rule: Bound, people: Mapping[str, PersonState], name: str, instant: Ms, day: str | None
) -> Finding | TrainingFact:
    """The training that holds for a person on a day, or the finding that says why none does."""
    person = people.get(name)
    topic = rule.values["topic"]
    facts = (("person", name), ("topic", topic))
    if person is None or person.described_by is None or person.not_understood:
        return rule.finds("person-not-known", (("person", name),))
    training = _training(person, topic, instant)
    if training is None:
        return rule.finds("never-trained", facts, (person.described_by,))
    if not training.passed:
        return rule.finds("training-failed", facts, (training.entry,))
    if day is None:
        return rule.finds("no-site-clock")
    if training.until is not None:
        last = real_day(training.until)
        if last is None:
            return rule.finds("training-not-readable", facts, (training.entry,))
        if day > last:
            return rule.finds("training-run-out", (*facts, ("until_on", last)), (training.entry,))
    if person.left is not None and not day <= person.left:
        return rule.finds("person-had-left", (("person", name), ("left_on", person.left)))
    return training


@predicate(
    "tester-trained",
    Scope.TEST,
    parameters=(_TOPIC,),
    codes={**_people("test-by-trained"), "tester-trained": Code(MET)},
)
def tester_trained(attempt: Attempt, rule: Bound) -> Finding:
    """Whoever made the test was trained in the topic at that time: the newest training by then was passed and
    holds through its last day, on the site's calendar (without the site's clock that is unknown), and the
    person had not left before that day. Of trainings at the same time the one not passed counts."""
    test = attempt.test
    found = _judge(rule, attempt.surroundings.people, test.by, test.at, attempt.day)
    if isinstance(found, Finding):
        return found
    return rule.finds("tester-trained", (), (found.entry,))


@predicate(
    "wearer-trained",
    Scope.MOMENT,
    parameters=(_TOPIC,),
    codes={
        **_people("train"),
        "wearer-trained": Code(MET),
        "no-wearer-asked": Code(NOT_APPLICABLE),
    },
)
def wearer_trained(moment: Moment, rule: Bound) -> Finding:
    """Where a wearer is asked for: that person is trained in the topic now, judged as for the tester."""
    if moment.wearer is None:
        return rule.finds("no-wearer-asked")
    found = _judge(rule, moment.surroundings.people, moment.wearer, moment.as_of, moment.day)
    if isinstance(found, Finding):
        return found
    person = moment.surroundings.people[moment.wearer]
    days = [day for day in (found.until, person.left) if day is not None]
    until = end_of_day(min(days), moment.zone) if days and moment.zone is not None else None
    return rule.finds("wearer-trained", (), (found.entry,), until)
