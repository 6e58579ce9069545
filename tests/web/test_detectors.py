"""The list of detectors, and the page of one."""

from __future__ import annotations

import re

from django.test import Client

from tests.web.conftest import Cast


def text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return re.sub(r"\s+", " ", answer.content.decode())


def test_the_list_is_searched_by_code_serial_number_type_and_holder(cast: Cast, keeper: Client) -> None:
    cast.write(
        {"kind": "handed-out", "detector": "detector:D-017", "to": "person:P-07", "from_store": True},
        minutes_ago=3,
    )
    assert "D-017" in text(keeper, "/detectors?q=marrel")
    assert "D-018" not in text(keeper, "/detectors?q=marrel")
    assert "3 answer to" in text(keeper, "/detectors?q=heron")
    assert "The book knows no such detector" in text(keeper, "/detectors?q=zzz")


def test_a_scanned_code_or_serial_number_leads_straight_to_its_page(keeper: Client) -> None:
    for typed in ("D-018", "d-018", "Q-88214", "detector:D-018"):
        answer = keeper.get("/detectors", {"q": typed})
        assert (answer.status_code, answer["Location"]) == (302, "/detectors/D-018")


def test_the_page_of_one_that_may_go_out_says_until_when_and_why(keeper: Client) -> None:
    page = text(keeper, "/detectors/D-017")
    assert "stamp--may-go-out stamp--large" in page
    assert "until Tue 3 Mar, 04:00 WET" in page
    assert page.count('class="finding finding--met"') > 8
    assert "[seen in the source]" in page
    assert "(relied on)" in page


def test_the_page_of_one_that_failed_says_what_failed_and_what_to_do(keeper: Client) -> None:
    page = text(keeper, "/detectors/D-018")
    assert "stamp--out-of-service stamp--large" in page
    assert "To do:" in page
    assert "failed: H2S" in page
    assert "Out of service because" in page


def test_its_channels_stand_there_with_the_alarm_that_gas_must_show(keeper: Client) -> None:
    page = text(keeper, "/detectors/D-017")
    assert "very-low 18 falling <strong>(gas must show this)" in page
    assert "high 23.5 (shown by no test)" in page


def test_every_entry_about_it_stands_there_in_words_with_its_address(keeper: Client) -> None:
    page = text(keeper, "/detectors/D-018")
    assert "Bump test of D-018 failed on H2S; gas from C-112." in page
    assert 'href="/book/16"' in page


def test_its_pages_of_the_book_are_paged(cast: Cast, keeper: Client) -> None:
    for number in range(30):
        cast.write(
            {"kind": "note", "subject": "detector:D-017", "text": f"Note {number}."}, minutes_ago=40 - number
        )
    first = text(keeper, "/detectors/D-017")
    assert "Note 29." in first
    assert "Note 2." not in first
    earlier = re.search(r'href="(\?before=\d+)#h-book"', first)
    assert earlier is not None
    assert "Note 2." in text(keeper, f"/detectors/D-017{earlier[1]}")


def test_an_issue_without_a_test_that_is_in_force_is_loud(cast: Cast, keeper: Client) -> None:
    cast.write(
        {
            "kind": "issued-untested", "detector": "detector:D-019", "to": "person:P-07",
            "authority": "person:K-1", "until": "2026-03-02T15:00:00.000Z", "reason": "Sewage rising.",
        },
        minutes_ago=5,
    )  # fmt: skip
    page = text(keeper, "/detectors/D-019")
    assert "Issued untested." in page
    assert "Rui Marrel" in page
    assert "it may be dead and look like a good one" in page
    assert "Issued untested." not in text(keeper, "/detectors/D-019?at=2026-03-02T15:00")


def test_as_known_before_it_was_described_there_was_no_yes(keeper: Client) -> None:
    answer = keeper.get("/detectors/D-019?known=5")
    assert answer.status_code == 404
    assert "there was no yes" in answer.content.decode()


def test_another_moment_is_said_to_be_no_present(keeper: Client) -> None:
    page = text(keeper, "/detectors/D-017?at=2026-03-03T04:00")
    assert "Not the present." in page
    assert "stamp--may-go-out" not in page


def test_a_tester_is_offered_only_what_a_tester_may_write(tester: Client, keeper: Client) -> None:
    seen = text(tester, "/detectors/D-018")
    assert "/write/out-of-service?" in seen
    assert "/write/returned-to-service?" not in seen
    assert "/write/returned-to-service?" in text(keeper, "/detectors/D-018")


def test_a_note_that_was_erased_is_said_to_be_withheld(cast: Cast, keeper: Client) -> None:
    from pitbird.store import blobs, book

    cast.write(
        {"kind": "happened", "detector": "detector:D-017", "what": "drop", "note": "From the ladder."},
        minutes_ago=3,
    )
    assert "From the ladder." in text(keeper, "/detectors/D-017")
    (row,) = book.newest(1)
    import json

    blobs.erase([json.loads(row.leaf)["body"]["note"]])
    page = text(keeper, "/detectors/D-017")
    assert "From the ladder." not in page
    assert "(a note, withheld)" in page
