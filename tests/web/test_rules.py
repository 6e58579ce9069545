"""The site rules in force."""

from __future__ import annotations

import re

from django.test import Client

from pitbird.rules.loading import load_shipped
from tests.web.conftest import Cast


def text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return re.sub(r"\s+", " ", answer.content.decode())


def test_every_rule_in_force_stands_there_with_its_source_and_how_well_it_is_known(keeper: Client) -> None:
    page = text(keeper, "/rules")
    for rule in load_shipped("strict").rules:
        assert f"{rule.id} –" in page
    assert "29 CFR 1910.146(c)(5)(ii)(C)" in page
    assert "[common practice]" in page
    assert "[seen in the source]" in page
    assert "</a> (strict, version 1)" in page, "a copy of one's own may have kept the title"


def test_a_site_without_rules_is_said_to_have_no_yes(cast: Cast, keeper: Client) -> None:
    cast.write({"kind": "site", "site": "site:south", "name": "South works", "site_zone": "Europe/Lisbon"})
    assert "Without rules there is no yes." in text(keeper, "/rules")


def test_adopting_a_set_for_later_shows_what_will_hold_and_from_when(keeper: Client) -> None:
    first = keeper.get("/write/rules-adopted")
    entry_id = re.search(r'name="entry_id" value="([^"]+)"', first.content.decode())
    assert entry_id is not None
    answer = keeper.post(
        "/write/rules-adopted",
        {
            "entry_id": entry_id[1], "rules": "strict", "sites": ["site:north-works"],
            "effective": "2026-03-09T06:00",
        },
    )  # fmt: skip
    assert (answer.status_code, answer["Location"]) == (302, "/rules")
    assert "From Mon 9 Mar 2026, 06:00 WET" in text(keeper, "/rules")


def test_rules_are_not_adopted_for_the_past(keeper: Client) -> None:
    answer = keeper.post(
        "/write/rules-adopted",
        {
            "entry_id": "0195a000-0000-7000-8000-000000000099", "rules": "strict",
            "sites": ["site:north-works"], "effective": "2026-03-01T06:00",
        },
    )  # fmt: skip
    assert answer.status_code == 422
    assert "lies in the past" in answer.content.decode()


def test_only_a_keeper_adopts_rules(tester: Client) -> None:
    assert tester.get("/write/rules-adopted").status_code == 403
    assert "/write/rules-adopted" not in text(tester, "/rules")
