"""Rules of the keeper's own: read with every fault at once, shown, and adopted only after that."""

from __future__ import annotations

import html
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from pitbird.record.leaf import read_leaf
from pitbird.rules.comparing import change_words, compare
from pitbird.rules.loading import document_of, load_shipped, read_rules, shipped_text
from pitbird.services.rule_sets import in_force
from pitbird.store import book
from tests.web.conftest import NOON, SITE, Cast

LATE = """\
id = "late"
version = 7
title = "Gas within thirty days"

[[rule]]
id = "gas"
predicate = "gas-test-within-days"
strength = "stops"
source = "common practice"
known = "common-practice"
[rule.parameters]
days = 30
"""
#: Three things wrong: a strength that there is not, no source, a number of days in quotes.
FAULTY = """\
id = "late"
version = 7
title = "Gas within thirty days"

[[rule]]
id = "gas"
predicate = "gas-test-within-days"
strength = "halts"
known = "common-practice"
[rule.parameters]
days = "30"
"""


def text(answer: object) -> str:
    return html.unescape(re.sub(r"\s+", " ", answer.content.decode()))  # type: ignore[attr-defined]


def look(client: Client, toml: str | bytes, *, as_file: bool = False) -> tuple[int, str]:
    given: dict[str, object] = {"do": "look", "text": toml}
    if as_file:
        data = toml if isinstance(toml, bytes) else toml.encode()
        given = {"do": "look", "text": "what stood in the box", "file": SimpleUploadedFile("own.toml", data)}
    answer = client.post("/rules/own", given)
    return answer.status_code, text(answer)


def adopt(client: Client, toml: str, **more: object) -> object:
    given = {
        "do": "adopt", "text": toml, "entry_id": "0195a000-0000-7000-8000-000000000099", "sites": [SITE],
        "effective": "2026-03-09T06:00", **more,
    }  # fmt: skip
    return client.post("/rules/own", given)


@pytest.mark.parametrize("as_file", [False, True])
def test_what_would_change_and_what_today_would_be_stands_there_before_anything_is_written(
    cast: Cast, keeper: Client, as_file: bool
) -> None:
    cast.write({"kind": "happened", "detector": "detector:D-017", "what": "drop"}, minutes_ago=20)
    size = book.head().size
    status, page = look(keeper, LATE, as_file=as_file)
    assert status == 200
    assert "Shall the rules “late” hold?" in page
    assert "Of 3 detectors 1 would get another answer." in page
    group = page[page.index('id="h-out"') : page.index('id="h-differs"')]
    assert "D-017" in group
    assert "may go out until Wed 1 Apr" in group, "thirty days from the test of 2 March 2026"
    rules, _ = read_rules(LATE)
    (held,) = in_force(NOON)
    assert rules is not None
    assert held.rules is not None
    changes = compare(held.rules, rules)
    assert len(changes) > 10
    for change in changes:
        assert re.sub(r"\s+", " ", change_words(change, gettext=str)) in page
    assert rules.digest in page
    assert 'class="stamp' not in page, "no stamp: it is no answer"
    assert book.head().size == size


@pytest.mark.parametrize("as_file", [False, True])
def test_every_fault_is_told_at_once_with_its_line_and_field_and_the_text_stays_in_the_box(
    keeper: Client, as_file: bool
) -> None:
    size = book.head().size
    status, page = look(keeper, FAULTY, as_file=as_file)
    _, faults = read_rules(FAULTY)
    assert [(fault.field, fault.line) for fault in faults] == [("strength", 8), ("source", 5), ("days", 11)]
    assert status == 422
    for fault in faults:
        assert str(fault) in page
    assert "line 8, " in page
    assert "line 11, " in page
    box = page[page.index("<textarea") : page.index("</textarea>")]
    assert 'strength = "halts"' in box
    assert "what stood in the box" not in page
    assert "Adopt these rules" not in page
    assert book.head().size == size


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"id = \xff", "not UTF-8 text (byte 5)"),
        (b"id = ", "is not TOML"),
        (b"#" * 262_145, "too large to be a set of rules"),
        (b" \n ", "Give a file, or put the text of one into the box."),
    ],
)
def test_a_file_that_is_no_set_of_rules_is_refused_in_words(keeper: Client, data: bytes, said: str) -> None:
    status, page = look(keeper, data, as_file=True)
    assert status == 422
    assert said in page


def test_nothing_given_is_refused(keeper: Client) -> None:
    status, page = look(keeper, "")
    assert status == 422
    assert "Give a file, or put the text of one into the box." in page


def test_adopted_they_stand_whole_in_an_entry_and_hold_from_the_time_that_was_said(keeper: Client) -> None:
    answer = adopt(keeper, LATE.replace("\n", "\r\n"))  # as a browser sends it
    assert (answer.status_code, answer["Location"]) == (302, "/rules")  # type: ignore[attr-defined, index]
    row = book.at_index(book.head().size - 1)
    assert row is not None
    body = read_leaf(row.leaf.encode()).body
    rules, _ = read_rules(LATE)
    assert rules is not None
    assert (body["kind"], body["rules"], body["sites"]) == ("rules-adopted", "rules:late", [SITE])
    assert body["effective"] == "2026-03-09T06:00:00.000Z"
    assert body["document"] == document_of(rules)
    assert "From Mon 9 Mar 2026, 06:00 WET: Gas within thirty days (late)" in text(keeper.get("/rules"))
    assert adopt(keeper, LATE).status_code == 302, "sent twice is harmless"  # type: ignore[attr-defined]
    assert book.head().size == row.index + 1


def test_what_is_adopted_is_held_to_the_same_checks_and_a_refusal_keeps_all_that_was_shown(
    keeper: Client,
) -> None:
    size = book.head().size
    answer = adopt(keeper, FAULTY)
    assert answer.status_code == 422  # type: ignore[attr-defined]
    assert "line 8, " in text(answer)
    answer = adopt(keeper, LATE, effective="2026-03-01T06:00", sites=[])
    page = text(answer)
    assert answer.status_code == 422  # type: ignore[attr-defined]
    assert "lies in the past" in page
    assert "At which sites: " in page
    assert "3 detectors would get the same answer." in page
    assert 'name="do" value="adopt"' in page
    assert book.head().size == size


def test_one_that_comes_with_the_package_can_be_begun_with(keeper: Client) -> None:
    page = keeper.get("/rules/own?like=us").content.decode()
    box = html.unescape(page[page.index("<textarea") : page.index("</textarea>")])
    assert box.endswith(shipped_text("us"))
    assert keeper.get("/rules/own?like=../strict").status_code == 200


def test_a_set_named_like_another_with_other_rules_is_told(keeper: Client) -> None:
    strict = load_shipped("strict")
    changed = LATE.replace('id = "late"', 'id = "strict"').replace(
        "version = 7", f"version = {strict.version}"
    )
    assert "Named like another set." in look(keeper, changed)[1]
    assert "Named like another set." not in look(keeper, shipped_text("strict"))[1]


def test_only_a_keeper_brings_rules(tester: Client) -> None:
    assert tester.get("/rules/own").status_code == 403
    assert look(tester, LATE)[0] == 403
    assert "/rules/own" not in text(tester.get("/rules"))


def test_the_rules_page_and_the_form_of_adoption_lead_there(keeper: Client) -> None:
    assert 'href="/rules/own"' in text(keeper.get("/rules"))
    assert 'href="/rules/own"' in text(keeper.get("/write/rules-adopted"))
