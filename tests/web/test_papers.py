"""Papers as PDF: linked from their pages, with the rights of those, refused in words."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client

from pitbird.store import book
from pitbird.store.models import Seen
from tests.papers import pdf
from tests.web.conftest import Cast, ago, passed


@pytest.fixture(autouse=True)
def _home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A key of the test's own."""
    monkeypatch.setattr(settings, "CONFIG", replace(settings.CONFIG, home=tmp_path))
    monkeypatch.delenv("PITBIRD_KEY_PASSPHRASE", raising=False)


def last_of(kind: str) -> int:
    (*_, row) = book.of_kind(kind)
    return row.index


PAPERS = [
    ("/book/{test}", "/paper/bump-test/{test}.pdf", "Bump test of detector"),
    ("/book/{calibration}", "/paper/calibration-certificate/{calibration}.pdf", "Calibration of detector"),
    ("/detectors/D-017", "/paper/detector-history/D-017.pdf", "History of detector D-017"),
    ("/", "/paper/morning-sheet.pdf", "What may go out: North works"),
    ("/gas/C-112", "/paper/cylinder-standing/C-112.pdf", "Cylinder C-112"),
    ("/people/P-07", "/paper/training-record/P-07.pdf", "Training record of Rui Marrel"),
    ("/book", "/paper/book-page.pdf", "The book, Mon 2 Mar 2026"),
]


@pytest.mark.parametrize(("page", "address", "words"), PAPERS)
def test_each_paper_is_offered_on_its_page_and_sent(
    tester: Client, page: str, address: str, words: str
) -> None:
    places = {"test": last_of("bump-test"), "calibration": last_of("calibration")}
    address = address.format(**places)
    assert f'"{address}"' in tester.get(page.format(**places)).content.decode()
    answer = tester.get(address, {"day": "2026-03-02", "site": "north-works"})
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"].startswith('inline; filename="')
    assert answer["Cache-Control"] == "no-store"
    assert words in pdf.words(answer.content)


@pytest.mark.parametrize(("page", "address", "words"), PAPERS)
def test_nobody_gets_a_paper_without_signing_in(cast: Cast, page: str, address: str, words: str) -> None:
    answer = Client().get(address.format(test=last_of("bump-test"), calibration=last_of("calibration")))
    assert answer.status_code == 302
    assert answer["Location"].startswith("/sign-in")


def test_size_and_locale_stand_in_the_address(tester: Client) -> None:
    answer = tester.get("/paper/training-record/P-07.pdf?paper=us-letter&locale=en-US")
    assert pdf.page_size(answer.content) == pytest.approx((612, 792))
    assert "holds until Mar 2, 2028" in pdf.words(answer.content)


def test_a_period_is_its_first_and_last_day(cast: Cast, tester: Client) -> None:
    cast.write(passed("D-018", ago(30)), minutes_ago=29)
    held = tester.get("/paper/detector-history/D-018.pdf?first=2026-03-02&last=2026-03-02")
    none = tester.get("/paper/detector-history/D-018.pdf?first=2026-03-03&last=")
    assert "Bump test of D-018 passed" in pdf.words(held.content)
    assert "The book holds no entry about it in this period." in pdf.words(none.content)


def test_every_fault_of_an_address_is_named(tester: Client) -> None:
    answer = tester.get("/paper/detector-history/D-017.pdf?first=x&last=2026-02-30")
    told = answer.content.decode()
    assert answer.status_code == 422
    assert "first: &#x27;x&#x27; is not a day" in told
    assert "last: &#x27;2026-02-30&#x27; is not a day" in told
    answer = tester.get("/paper/bump-test/0.pdf?paper=a5&locale=xx")
    told = answer.content.decode()
    assert answer.status_code == 422
    assert "paper: &#x27;a5&#x27;" in told
    assert "locale: &#x27;xx&#x27;" in told
    for address in ("/paper/book-page.pdf", "/paper/morning-sheet.pdf"):
        assert tester.get(address).status_code == 422


@pytest.mark.parametrize(
    ("before", "back"),
    [
        ("http://testserver/labels?of=people", "http://testserver/labels?of=people"),
        ("http://elsewhere/", "/"),
    ],
)
def test_a_refused_paper_leads_back_to_where_it_was_asked_for(tester: Client, before: str, back: str) -> None:
    answer = tester.get("/paper/labels.pdf?of=detectors&grid=x", headers={"referer": before})
    assert answer.status_code == 422
    assert f'class="button" href="{back}"' in answer.content.decode()


@pytest.mark.parametrize(
    "address",
    ["bump-test/0", "bump-test/99999", "calibration-certificate/0", "detector-history/D-999",
     "cylinder-standing/C-999", "training-record/P-99"],
)  # fmt: skip
def test_what_the_book_has_not_is_not_found(tester: Client, address: str) -> None:
    assert tester.get(f"/paper/{address}.pdf").status_code == 404


@pytest.mark.parametrize("paper", ["morning-sheet", "book-page"])
def test_a_site_that_the_book_has_not_is_not_found(tester: Client, paper: str) -> None:
    answer = tester.get(f"/paper/{paper}.pdf?day=2026-03-02&site=nowhere")
    assert answer.status_code == 404


def test_a_training_record_is_written_down_as_seen(tester: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(settings, "SEEN", True)
    tester.get("/paper/training-record/P-07.pdf")
    assert list(Seen.objects.values_list("what", "about")) == [("person", "person:P-07")]


def test_labels_of_people_are_for_those_who_see_the_people(cast: Cast, keeper: Client) -> None:
    asked = {"of": "people", "grid": "3x8 of 70x37"}
    assert '/labels?of=people"' in keeper.get("/people").content.decode()
    assert keeper.get("/paper/labels.pdf", asked)["Content-Type"] == "application/pdf"
    stranger = Client()
    for where in ("/people", "/paper/labels.pdf"):
        refused = stranger.get(where, asked)
        assert (refused.status_code, refused["Location"].partition("?")[0]) == (302, "/sign-in")


def test_labels_are_asked_for_on_a_page_and_printed(cast: Cast, keeper: Client) -> None:
    page = keeper.get("/labels?of=cylinders").content.decode()
    assert "Which labels do you need?" in page
    answer = keeper.get("/paper/labels.pdf", {"of": "detectors", "grid": "3x8 of 70x37", "start": "3"})
    assert answer["Content-Type"] == "application/pdf"
    refused = keeper.get("/paper/labels.pdf", {"of": "detectors", "grid": "huge", "start": "1"})
    assert refused.status_code == 422
    assert "cannot be read" in refused.content.decode()
