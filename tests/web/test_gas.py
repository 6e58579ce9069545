"""Test gas: the cylinders, and the page of one."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client

from tests.web.conftest import SITE, Cast, ago, passed


def text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return re.sub(r"\s+", " ", answer.content.decode())


def cylinder(code: str, **fields: Any) -> dict[str, Any]:
    return {
        "kind": "cylinder", "cylinder": f"cylinder:{code}", "balance": "air", "expires": "2027-10-06",
        "minimum_pressure_bar": "2", "home": SITE, "lot": "L-1",
        "components": [{"gas": "carbon dioxide", "amount": "2.5", "unit": "vol_pct"}], **fields,
    }  # fmt: skip


def group(page: str, name: str) -> str:
    start = page.index(f'id="h-{name}"')
    return page[start : page.index("</section>", start)]


def test_cylinders_stand_by_what_can_be_done_with_them(cast: Cast, keeper: Client) -> None:
    for code in ("C-1", "C-2", "C-3"):
        cast.write(cylinder(code), minutes_ago=9)
    cast.write({"kind": "cylinder-quarantined", "cylinder": "cylinder:C-2", "because": "leak"}, minutes_ago=8)
    cast.write({"kind": "cylinder-emptied", "cylinder": "cylinder:C-3"}, minutes_ago=8)
    page = text(keeper, "/gas")
    assert "C-112" in group(page, "in-use")
    assert "C-1<" in group(page, "in-stock")
    assert "C-2<" in group(page, "quarantined")
    assert "C-3<" in group(page, "emptied")


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"expires": "2026-03-01"}, "Out of date."),
        ({"expires": "2026-03-02"}, "Out of date soon."),
        ({"expires": "2026-04-01"}, "Out of date soon."),
        ({"expires": "2026-04-02"}, ""),
    ],
)
def test_a_cylinder_that_runs_out_is_said_to(
    cast: Cast, keeper: Client, fields: dict[str, str], said: str
) -> None:
    # Today is 2 March 2026 on the site's clock; thirty days ahead are told.
    cast.write(cylinder("C-1", **fields), minutes_ago=9)
    assert ("Out of date" in group(text(keeper, "/gas"), "in-stock")) is bool(said)
    assert said in text(keeper, "/gas/C-1")


@pytest.mark.parametrize(
    ("fields", "then", "said"),
    [
        ({"expires": "2026-03-01"}, None, "Its last day of use was 1 Mar 2026;"),
        ({"expires": "2026-03-02"}, None, ""),
        ({}, {"kind": "cylinder-quarantined", "because": "leak"}, "Its gas is in doubt until a release"),
    ],
)
def test_of_a_cylinder_that_no_test_may_rest_on_it_is_said_before_what_is_left_in_it_and_whom_it_serves(
    cast: Cast, keeper: Client, fields: dict[str, str], then: dict[str, str] | None, said: str
) -> None:
    cast.write(cylinder("C-1", **fields), minutes_ago=9)
    if then:
        cast.write({**then, "cylinder": "cylinder:C-1"}, minutes_ago=8)
    for address in ("/gas/C-1", "/gas/C-1/serves/D-017"):
        page = text(keeper, address)
        assert ("Do not test with it." in page) is bool(said), address
        assert said in page, address


def test_a_cylinder_at_its_minimum_pressure_is_said_to_be(cast: Cast, keeper: Client) -> None:
    assert "minimum pressure." not in text(keeper, "/gas")
    cast.write({"kind": "gauge-read", "cylinder": "cylinder:C-112", "gauge_bar": "2"}, minutes_ago=1)
    assert "At or below its minimum pressure." in text(keeper, "/gas")


def test_the_page_of_one_says_what_is_in_it_and_what_was_done_with_it(keeper: Client) -> None:
    page = text(keeper, "/gas/C-112")
    assert "methane 2.2 % vol" in page
    assert "L-2291" in page
    assert "6 Oct 2027" in page
    assert "2 gas applications" in page
    assert "Bump test of D-017 passed; gas from C-112." in page
    for kind in ("gauge-read", "cylinder-emptied", "cylinder-quarantined"):
        assert f"/write/{kind}?about=cylinder:C-112" in page


def test_a_doubt_about_gas_is_shown_until_it_is_answered(cast: Cast, keeper: Client) -> None:
    cast.write(
        {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-112", "because": "suspect-contents"},
        minutes_ago=4,
    )
    assert "still open" in text(keeper, "/gas/C-112")


def test_a_cylinder_that_is_not_in_the_book_is_not_found(keeper: Client) -> None:
    assert keeper.get("/gas/C-404").status_code == 404


def fail_twice(cast: Cast) -> None:
    """D-018 failed on C-112 an hour before; now D-019 fails on it too."""
    cast.write(passed("D-019", ago(20), outcome="failed", missed="CO"), minutes_ago=19, by=cast.tester)


def test_one_failure_asks_no_question_and_two_ask_about_the_gas_first(cast: Cast, keeper: Client) -> None:
    before = text(keeper, "/gas")
    assert "In question" not in before
    assert "C-112" in group(before, "in-use")
    fail_twice(cast)
    page = text(keeper, "/gas")
    assert "1 is in question." in page
    asked = group(page, "in-question")
    assert "Ask about the gas before you ask about the detectors" in asked
    assert (
        "In question since Mon 2 Mar, 11:40 WET: 2 tests failed on it in a row, 2 detectors failed among "
        "its last ten tests." in asked
    )
    assert "C-112" not in group(page, "in-use")


def test_the_page_of_the_cylinder_lists_what_failed_on_it_and_offers_to_answer(
    cast: Cast, keeper: Client, tester: Client
) -> None:
    fail_twice(cast)
    page = text(keeper, "/gas/C-112")
    assert "no test on it counts until a release names these tests" in page
    assert 'href="/detectors/D-018"' in group(page, "failed")
    assert "failed, 2 in a row" in group(page, "failed")
    assert "/write/cylinder-released?about=cylinder:C-112" in group(page, "question")
    assert "/write/cylinder-released" not in text(tester, "/gas/C-112")
    assert "In question: tests failed on it one after another." in text(tester, "/test/D-017")


def test_a_release_names_the_failed_tests_and_what_it_leaves_out_stays_open(
    cast: Cast, keeper: Client
) -> None:
    fail_twice(cast)
    form = text(keeper, "/write/cylinder-released?about=C-112")
    assert "D-019 failed on it, 2 in a row" in form
    assert "D-018 failed on it" in form
    newest, oldest = re.findall(r'name="answers" value="([^"]+)"', form)
    entry_id = re.search(r'name="entry_id" value="([^"]+)"', form)
    assert entry_id is not None
    # The first failure asked nothing by itself; it is the second that asks.
    answer = keeper.post(
        "/write/cylinder-released?about=C-112", {"entry_id": entry_id[1], "answers": [newest]}
    )
    assert answer.status_code == 302
    assert "In question" not in text(keeper, "/gas")
    page = text(keeper, "/gas/C-112")
    assert "D-018" in group(page, "failed")
    assert "D-019" not in group(page, "failed")
    assert oldest in text(keeper, "/write/cylinder-released?about=C-112")


@pytest.mark.parametrize("scanned", ["C-112", " c-112 ", "cylinder:C-112", "L-2291", "l-2291"])
def test_a_code_or_lot_as_scanned_opens_the_cylinder(cast: Cast, keeper: Client, scanned: str) -> None:
    answer = keeper.get("/gas", {"q": scanned})
    assert (answer.status_code, answer["Location"]) == (302, "/gas/C-112")


def test_a_code_that_the_book_does_not_know_is_said_with_those_near_it(cast: Cast, keeper: Client) -> None:
    page = keeper.get("/gas", {"q": "C-122"}).content.decode()
    assert "The book knows no cylinder by “C-122”." in page
    assert 'href="/gas/C-112"' in page
