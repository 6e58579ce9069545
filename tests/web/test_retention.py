"""Retention on a page: what is past its period, by which periods, and erasing it in one go."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client

from pitbird.fleet.times import DAY, Ms
from pitbird.services import clock
from pitbird.services.erasing import sealed_about
from pitbird.store import blobs, book
from tests.web.conftest import NOON, TESTER, Cast


@pytest.fixture
def own_file() -> Iterator[Path]:
    """Where the user's own periods stand."""
    file = settings.CONFIG.home / "retention.toml"
    yield file
    file.unlink(missing_ok=True)


def text(client: Client, status: int = 200) -> str:
    answer = client.get("/retention")
    assert answer.status_code == status
    return re.sub(r"\s+", " ", answer.content.decode())


def years_pass(monkeypatch: pytest.MonkeyPatch, years: float) -> None:
    monkeypatch.setattr(clock, "now", lambda: Ms(NOON + int(years * 366) * DAY))


def fields(client: Client) -> dict[str, str]:
    """What the form sends, with the number typed that it asks for."""
    page = text(client)
    mark = re.search(r'name="mark" value="([0-9a-f]{16})"', page)
    wanted = re.search(r"Type (\d+) to erase", page)
    assert mark is not None
    assert wanted is not None
    return {"mark": mark[1], "confirm": wanted[1]}


def leave(cast: Cast) -> None:
    cast.write({"kind": "note", "subject": "detector:D-017", "text": "clip loose"})
    cast.write({"kind": "person", "person": TESTER, "name": "Rui Marrel", "left": "2026-02-27"})


def test_while_nothing_is_past_there_is_nothing_to_press(cast: Cast, keeper: Client) -> None:
    page = text(keeper)
    assert "None. Entries themselves are never deleted." in page
    assert "Erase th" not in page
    assert "29 CFR 1910.146(e)(6) and (f)(10)" in page
    assert "[seen in the source]" in page
    assert "common practice, no source" in page


def test_what_is_past_is_shown_and_goes_in_one_go(
    cast: Cast, keeper: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    leave(cast)
    years_pass(monkeypatch, 6)
    page = text(keeper)
    assert "3 may go." in page
    assert "“clip loose”" in page
    assert "27 Feb 2026" in page
    assert "longest of:" not in re.search(r"Note</th>.*?</tr>", page)[0]  # type: ignore[index]
    done = keeper.post("/retention", fields(keeper))
    assert done.status_code == 302
    assert {blob.text for blob in blobs.every_text()} == {"Ilda Fontanova"}
    assert sealed_about(TESTER) == ()
    assert "3 names, texts and photos are erased for good" in text(keeper)


def test_without_the_number_typed_nothing_goes(
    cast: Cast, keeper: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    leave(cast)
    years_pass(monkeypatch, 6)
    size = book.head().size
    assert keeper.post("/retention", {**fields(keeper), "confirm": "4"}).status_code == 422
    assert book.head().size == size


def test_what_changed_since_it_was_looked_at_does_not_go(
    cast: Cast, keeper: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    leave(cast)
    years_pass(monkeypatch, 6)
    answer = keeper.post("/retention", {**fields(keeper), "mark": "0" * 16})
    assert answer.status_code == 422
    assert "look anew" in answer.content.decode()
    assert sealed_about(TESTER)


def test_the_users_own_period_stands_in_place_of_the_shipped_one(
    cast: Cast, keeper: Client, own_file: Path
) -> None:
    own_file.write_text(
        '[[period]]\nid = "detector-records"\nabout = "Ours"\nkinds = ["note"]\nfrom = "entry"\nyears = 0\n'
        'applies = true\nsource = "works agreement"\nedition = "2026"\nknown = "seen"\n'
    )
    cast.write({"kind": "note", "subject": "detector:D-017", "text": "clip loose"})
    page = text(keeper)
    assert "1 may go." in page
    assert "Ours (your own)" in page


def test_a_file_with_faults_is_told_whole_and_nothing_can_be_erased(
    cast: Cast, keeper: Client, own_file: Path
) -> None:
    own_file.write_text('[[period]]\nid = "x"\nkinds = ["notes"]\nyears = -1\n')
    page = text(keeper, 422)
    for field in ("kinds", "years", "from", "source", "edition", "known", "about", "applies"):
        assert f"period[1] (x).{field}" in page
    assert "<form class" not in page
    assert keeper.post("/retention", {"mark": "x", "confirm": "0"}).status_code == 422
