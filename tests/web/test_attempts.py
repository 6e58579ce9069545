"""Attempts are counted on a page: by detector, by cylinder, and by person for who may see that."""

from __future__ import annotations

import re

from django.test import Client

from tests.web.conftest import Cast, ago, passed


def text(client: Client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.content
    return re.sub(r"\s+", " ", answer.content.decode())


def spoil(cast: Cast) -> None:
    test = passed("D-017", ago(30)) | {"outcome": "spoiled", "spoiled_because": "hood-slipped"}
    cast.write(test, minutes_ago=29)


def test_the_page_counts_and_says_that_it_is_no_verdict(cast: Cast, keeper: Client) -> None:
    spoil(cast)
    page = text(keeper, "/attempts")
    assert "3 attempts: 1 passed, 1 failed, 1 spoiled." in page
    assert "no verdict on people" in page
    assert "the hood slipped (1)" in page
    for name in ("D-017", "D-018", "C-112", "Rui Marrel", "Ilda Fontanova"):
        assert name in page


def test_who_is_no_keeper_sees_the_counts_of_others_not(cast: Cast, tester: Client) -> None:
    spoil(cast)
    page = text(tester, "/attempts")
    assert "Rui Marrel" in page[page.index('id="h-people"') :]
    assert "Ilda Fontanova" not in page
    assert "Only your own" in page


def test_the_last_day_of_a_period_is_in_it(keeper: Client) -> None:
    assert "2 attempts: 1 passed" in text(keeper, "/attempts?since=2026-03-02&until=2026-03-02")
    assert "No test was attempted then." in text(keeper, "/attempts?since=2026-03-01&until=2026-03-01")
    assert "1 attempt: 0 passed, 1 failed" in text(
        keeper, "/attempts?since=2026-03-02T10:35&until=2026-03-02&site=north-works"
    )


def test_every_fault_in_the_question_is_told_and_nothing_is_counted(keeper: Client) -> None:
    page = text(keeper, "/attempts?since=soon&until=2026-13-01&site=nowhere", status=422)
    assert "since = soon" in page
    assert "until = 2026-13-01" in page
    assert "site = nowhere" in page
    assert "By detector" not in page
    assert "does not lie before" in text(keeper, "/attempts?since=2026-03-02&until=2026-03-01", status=422)
