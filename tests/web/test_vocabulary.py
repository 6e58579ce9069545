"""Words: every kind, field and listed value has some, and every kind's example reads as a sentence."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.fleet.kinds import KINDS
from pitbird.web import vocabulary
from pitbird.web.forms.questions import ACTION_WORDS, ACTIONS, QUESTIONS
from pitbird.web.names import Names
from pitbird.web.sentences import sentence

pytestmark = pytest.mark.django_db


def test_every_kind_has_words() -> None:
    assert set(vocabulary.KIND_WORDS) == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_every_value_that_a_kind_chooses_from_a_list_has_words(kind: str) -> None:
    assert vocabulary.listed_values(KINDS[kind]) <= set(vocabulary.VALUE_WORDS)


def _fields(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set(value) | {name for part in value.values() for name in _fields(part)}
    if isinstance(value, list):
        return {name for part in value for name in _fields(part)}
    return set()


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "rules-adopted"])
def test_every_field_of_a_kind_has_a_label(kind: str) -> None:
    model = KINDS[kind]
    named = set(model.model_fields) | _fields(model.EXAMPLE)
    assert named - {"v"} <= set(vocabulary.FIELD_WORDS)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_reads_as_a_sentence_with_nothing_left_to_fill_in(kind: str) -> None:
    body = KINDS[kind].model_validate(KINDS[kind].EXAMPLE).as_body()
    text = sentence(body, Names([]), {})
    assert text.endswith((".", ")", ": (withheld)"))
    assert "%(" not in text
    assert "sha256" not in text


def test_a_kind_that_is_not_known_is_said_to_be_so() -> None:
    assert "not known" in sentence({"kind": "levitation"}, Names([]), {})


def test_a_sealed_text_that_was_erased_is_said_to_be_withheld() -> None:
    body = {**KINDS["note"].EXAMPLE, "about": ["detector:D-017"]}
    assert sentence(body, Names([]), {body["text"]: "clip loose"}) == "D-017: clip loose"
    assert sentence(body, Names([]), {}) == "D-017: (withheld)"


def test_every_action_is_a_question_and_has_words() -> None:
    offered = {kind for kinds in ACTIONS.values() for kind in kinds}
    assert offered <= set(QUESTIONS)
    assert offered <= set(ACTION_WORDS)


def test_every_kind_but_those_with_pages_of_their_own_can_be_written_by_hand() -> None:
    elsewhere = {"genesis", "epoch", "bump-test", "sensor", "erasure", "look-back", "key-changed"}
    elsewhere |= {"audit-opened", "audit-closed", "device", "device-ended"}
    assert set(QUESTIONS) == set(KINDS) - elsewhere


@pytest.mark.parametrize("kind", QUESTIONS)
def test_every_field_that_a_question_asks_for_is_one_of_its_kind(kind: str) -> None:
    asked = {ask.name for ask in QUESTIONS[kind].asks}
    assert asked <= set(KINDS[kind].model_fields)
