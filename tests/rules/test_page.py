"""docs/rules.md says what the code does: every predicate, parameter, code, remedy and shipped rule."""

from __future__ import annotations

import pytest

from pitbird.rules.decision import Verdict
from pitbird.rules.loading import ALWAYS_STOPS, ALWAYS_WARNS, KNOWN
from pitbird.rules.predicates.base import EVENTS
from tests.rules.page import PAGE, between, parts


@pytest.mark.parametrize("name", parts())
def test_the_page_repeats_the_code(name: str) -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert between(text, name) == parts()[name], "write it anew: python -m tests.rules.page"


def test_the_page_names_every_verdict_mark_event_and_built_in_rule() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for word in (*KNOWN, *EVENTS, *ALWAYS_STOPS, *ALWAYS_WARNS, *(verdict.value for verdict in Verdict)):
        assert f"`{word}`" in text, word
