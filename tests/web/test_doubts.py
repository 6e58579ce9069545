"""Entries of doubtful clock: listed, and countersigned by a keeper who did not write them."""

from __future__ import annotations

import html
import re
from typing import Any

from django.test import Client

from pitbird.fleet.times import Ms, text_of
from pitbird.rules.decision import Verdict
from pitbird.services.doubts import doubts
from pitbird.services.gate import gate_one
from pitbird.store import book
from tests.web.conftest import NOON, Cast
from tests.web.troubled import doubtful


def text(client: Client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.content
    return html.unescape(re.sub(r"\s+", " ", answer.content.decode()))


def post(client: Client, index: int, **fields: Any) -> Any:
    return client.post(f"/book/{index}/countersign", fields, follow=True)


def test_a_page_without_doubts_says_so(keeper: Client) -> None:
    page = text(keeper, "/doubts")
    assert "0 entries are dated after they were recorded." in page
    assert "No entry is left out for its clock." in page


def test_a_doubtful_pass_is_listed_with_both_times_and_how_far_it_runs_ahead(
    cast: Cast, keeper: Client
) -> None:
    index = doubtful(cast, cast.tester, "D-019")
    page = text(keeper, "/doubts")
    assert "Bump test of D-019 passed; gas from C-112." in page
    assert "Mon 2 Mar 2026, 15:50 WET" in page
    assert "Mon 2 Mar 2026, 11:51 WET" in page
    assert "at least 3 h 59 min" in page
    assert f"/book/{index}/countersign" in page
    assert "See them" in text(keeper, "/detectors/D-019")
    assert "See them" not in text(keeper, "/detectors/D-017")
    for address in ("/", "/detectors"):
        assert text(keeper, address).count("1 entry about it is left out: its clock cannot be right.") == 1


def test_a_keeper_says_when_it_happened_and_the_gate_decides_anew(cast: Cast, keeper: Client) -> None:
    index = doubtful(cast, cast.tester, "D-019")
    assert gate_one("detector:D-019", now=NOON).decision.verdict is Verdict.NOT_YET
    answer = post(keeper, index, at="2026-03-02T11:50", reason="I stood beside it")
    page = html.unescape(answer.content.decode())
    assert answer.redirect_chain == [(f"/book/{index}", 302)]
    assert "D-019 may go out until" in page
    assert doubts() == ()
    assert gate_one("detector:D-019", now=NOON).decision.verdict is Verdict.MAY_GO_OUT
    state_at = book.newest(1)[0]
    assert text_of(Ms(state_at.at)).startswith("2026-03-02T12:00")


def test_what_is_wrong_is_told_at_once_and_nothing_is_written(cast: Cast, keeper: Client) -> None:
    index = doubtful(cast, cast.tester, "D-019")
    size = book.head().size
    answer = post(keeper, index)
    assert answer.status_code == 422
    assert answer.content.decode().count("This field is required.") >= 2
    late = post(keeper, index, at="2026-03-02T11:58", reason="?")
    assert late.status_code == 422
    assert "so it cannot have happened later" in late.content.decode()
    assert book.head().size == size


def test_nobody_countersigns_their_own_and_a_tester_none(cast: Cast, keeper: Client, tester: Client) -> None:
    own, other = doubtful(cast, cast.keeper, "D-019"), doubtful(cast, cast.tester, "D-019")
    assert "another keeper has to say" in text(keeper, "/doubts")
    assert "Ask another keeper" in text(keeper, f"/book/{own}/countersign", status=409)
    assert post(keeper, own, at="2026-03-02T11:50", reason="x").status_code == 409
    assert "/countersign" not in text(tester, "/doubts")
    assert tester.get(f"/book/{other}/countersign").status_code == 403
    assert len(doubts()) == 2


def test_an_entry_whose_clock_is_not_in_doubt_is_not_countersigned(keeper: Client) -> None:
    page = text(keeper, "/book/16/countersign", status=409)
    assert "Its clock is not in doubt" in page
    assert keeper.get("/book/999/countersign").status_code == 404
