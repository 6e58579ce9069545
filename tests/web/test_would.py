"""What other rules would answer today, and how they differ from those in force, before they are adopted."""

from __future__ import annotations

import html
import re

from django.test import Client

from pitbird.rules.comparing import change_words, compare
from pitbird.rules.loading import document_of, load_shipped, shipped
from pitbird.services.rule_sets import in_force
from pitbird.store import book
from tests.web.conftest import NOON, SITE, Cast


def text(client: Client, address: str, status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.content
    return html.unescape(re.sub(r"\s+", " ", answer.content.decode()))


def drop(cast: Cast) -> None:
    """A drop ends the pass of D-017 under the strict rules that are in force."""
    cast.write({"kind": "happened", "detector": "detector:D-017", "what": "drop"}, minutes_ago=20)


def late() -> dict[str, object]:
    """A set that asks for gas within thirty days and for nothing else: a drop ends no pass."""
    strict = document_of(load_shipped("strict"))
    rules = [rule for rule in strict["rule"] if rule["id"] in {"described", "understood", "in-service"}]
    gas = {
        "id": "gas", "predicate": "gas-test-within-days", "strength": "stops", "source": "common practice",
        "known": "common-practice", "parameters": {"days": 30},
    }  # fmt: skip
    return {"id": "late", "version": 7, "title": "Gas within thirty days", "rule": [*rules, gas]}


def adopt(cast: Cast, document: dict[str, object], at: str) -> None:
    cast.write(
        {"kind": "rules-adopted", "rules": f"rules:{document['id']}", "sites": [SITE], "effective": at,
         "document": document}
    )  # fmt: skip


def test_who_would_go_out_that_stays_in_now_stands_first_with_what_would_no_longer_stop_it(
    cast: Cast, keeper: Client
) -> None:
    drop(cast)
    adopt(cast, late(), "2026-06-01T04:00:00.000Z")
    size = book.head().size
    page = text(keeper, "/rules/late/would")
    assert "What would the rules “late” answer today?" in page
    assert "Of 3 detectors 1 would get another answer." in page
    assert "Nothing of this counts:" in page
    group = page[page.index('id="h-out"') : page.index('id="h-differs"')]
    assert "D-017" in group
    assert "may go out until Wed 1 Apr" in group, "thirty days from the test of 2 March 2026"
    assert "That ends the pass." in group
    assert "D-018" not in group
    assert 'class="stamp' not in page, "no stamp: it is no answer"
    assert book.head().size == size


def test_every_difference_from_the_rules_in_force_stands_there_in_words(keeper: Client) -> None:
    page = text(keeper, "/rules/us/would")
    (held,) = in_force(NOON)
    assert held.rules is not None
    changes = compare(held.rules, load_shipped("us"))
    assert len(changes) == len(compare(load_shipped("strict"), load_shipped("us"))) > 10
    for change in changes:
        assert re.sub(r"\s+", " ", change_words(change, gettext=str)) in page
    assert f"At North works, instead of strict, version 1: {len(changes)} differences." in page
    assert "the same rules are in force already" in text(keeper, "/rules/strict/would")


def test_the_adoption_form_shows_what_would_differ_for_each_set_and_opens_the_one_asked_for(
    keeper: Client,
) -> None:
    page = text(keeper, "/write/rules-adopted?rules=mining")
    for name in shipped():
        assert f"/rules/{name}/would" in page
    assert re.search(r"<details open><summary>Underground coal mines", page)
    assert re.search(r'value="mining"[^>]*checked', page)
    changes = compare(load_shipped("strict"), load_shipped("mining"))
    assert f"{len(changes)} differences." in page


def test_a_site_is_asked_for_alone_and_an_unknown_one_is_a_fault(cast: Cast, keeper: Client) -> None:
    cast.write({"kind": "site", "site": "site:south", "name": "South works", "site_zone": "Europe/Lisbon"})
    assert "There is no detector here." in text(keeper, "/rules/us/would?site=south")
    assert "At South works no rules are in force." in text(keeper, "/rules/us/would?site=south")
    assert "site = nowhere" in text(keeper, "/rules/us/would?site=nowhere", status=422)
    assert keeper.get("/rules/stict/would").status_code == 404


def test_the_rules_page_leads_to_every_set_and_only_a_keeper_to_adopting(
    keeper: Client, tester: Client
) -> None:
    page = text(keeper, "/rules")
    for name in shipped():
        assert f'href="/rules/{name}/would"' in page
    assert "/write/rules-adopted?rules=us" in text(keeper, "/rules/us/would")
    assert "/write/rules-adopted" not in text(tester, "/rules/us/would")
