"""Failure data at the edge of what can be said: answered or refused in words, by command, API and page."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client
from typer.testing import CliRunner

from pitbird.cli.app import app
from tests.web.conftest import Cast

#: Observations, the model, and words that the answer says.
ANSWERED: list[tuple[str, str, str, str]] = [
    ("all still good", "[[100, null], [200, null]]", "exponential", "only an upper limit"),
    ("all still good", "[[100, null], [200, null]]", "weibull", "No failures"),
    ("all still good", "[[100, null], [200, null]]", "turnbull", "no limits are given"),
    ("all failed by the first test", "[[0, 30], [0, 60]]", "exponential", "only a lower limit"),
    ("all failed by the first test", "[[0, 30], [0, 60]]", "weibull", "failed by its first test"),
    ("all failed by the first test", "[[0, 30], [0, 60]]", "turnbull", "no limits are given"),
    ("one still good", "[[100, null]]", "exponential", "only an upper limit"),
    ("one failed", "[[100, 130]]", "exponential", "Fewer than 5 failures"),
    ("one failed", "[[100, 130]]", "weibull", "one and the same age"),
    ("nothing observed", "[[0, null]]", "exponential", "nothing was observed"),
]
#: Observations and the words of the refusal.
REFUSED: list[tuple[str, str, str]] = [
    ("equal ends", "[[30, 30]]", "both ends are 30"),
    ("reversed ends", "[[40, 20]]", "the ends are reversed"),
    ("a negative age", "[[-1, 20]]", "must be 0 or more"),
    ("not a number", "[[NaN, 20]]", "NaN"),
    ("endless", "[[0, 1e400]]", "not a finite number"),
    ("none", "[]", "there is no observation"),
]
each_answer = pytest.mark.parametrize(
    ("observations", "model", "words"), [row[1:] for row in ANSWERED],
    ids=[f"{row[0]}, {row[2]}" for row in ANSWERED],
)  # fmt: skip
each_refusal = pytest.mark.parametrize(
    ("observations", "words"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED]
)


def request_of(observations: str, model: str = "exponential") -> str:
    return f'{{"observations": {observations}, "model": "{model}"}}'


def typed(observations: str, model: str = "exponential") -> dict[str, str]:
    """The same, as it is typed into the boxes of the page."""
    pairs = json.loads(observations, parse_constant=lambda word: word)
    lines = (" ".join("-" if end is None else f"{end}" for end in pair) for pair in pairs)
    return {"observations": "\n".join(lines), "model": model}


def command(text: str) -> Any:
    return CliRunner().invoke(app, ["calc", "failure-rate"], input=text)


def api(client: Client, text: str) -> Any:
    return client.post("/api/calc/failure-rate", text, content_type="application/json")


@each_answer
def test_what_can_hardly_be_said_is_said_in_words(
    keeper: Client, cast: Cast, observations: str, model: str, words: str
) -> None:
    by_command = command(request_of(observations, model))
    assert by_command.exit_code == 0, by_command.stderr
    told = json.loads(by_command.stdout)
    assert words in " ".join(told["cautions"])
    assert "NaN" not in by_command.stdout
    assert "Infinity" not in by_command.stdout
    assert api(keeper, request_of(observations, model)).json() == told
    page = keeper.post("/calculations/failure-rate", typed(observations, model))
    assert page.status_code == 200
    assert words in page.content.decode()


@each_refusal
def test_what_cannot_be_is_refused_in_words(
    keeper: Client, cast: Cast, observations: str, words: str
) -> None:
    by_command = command(request_of(observations))
    assert (by_command.exit_code, by_command.stdout) == (2, "")
    assert words in by_command.stderr
    answer = api(keeper, request_of(observations))
    assert answer.status_code == 422
    assert words in answer.content.decode()
    page = keeper.post("/calculations/failure-rate", typed(observations))
    assert page.status_code == 422
    assert 'href="#c-observations"' in page.content.decode()
