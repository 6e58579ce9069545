"""The page of an audit bundle: asked, made while it is read, fetched, checked; the keeper's alone."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.http import FileResponse, StreamingHttpResponse
from django.test import Client

from pitbird.papers.bundle.verify import verify
from pitbird.services import bundle_keeping, checkpoints
from pitbird.services.book_keys import public_key
from tests.web.conftest import SITE, Cast

HOME = Path(settings.CONFIG.home)


@pytest.fixture(autouse=True)
def no_bundles() -> Iterator[None]:
    """The folder of bundles and checkpoints as it was."""
    yield
    for path in (*HOME.glob("bundles/*"), *HOME.glob("bundles/.*"), *HOME.glob("checkpoints/*/*")):
        path.unlink()
    for name in ("book-key.pem", "book-key.pub"):
        (HOME / name).unlink(missing_ok=True)


def plain(page: str) -> str:
    return re.sub(r"\s+", " ", page)


def made(client: Client, **fields: Any) -> str:
    answer = client.post("/bundle", {"paper": "a4", **fields})
    assert answer.status_code == 200, plain(answer.content.decode())
    assert isinstance(answer, StreamingHttpResponse)
    return b"".join(answer.streaming_content).decode()


def fetched(client: Client, page: str, tmp_path: Path) -> Path:
    address = re.search(r'href="(/bundle/[0-9a-f-]{36})"', page)
    assert address is not None, page
    answer = client.get(address[1])
    assert isinstance(answer, FileResponse)
    assert answer["Content-Disposition"] == 'attachment; filename="audit-bundle.zip"'
    assert answer["Cache-Control"].startswith("no-store")
    path = tmp_path / "bundle.zip"
    path.write_bytes(b"".join(answer.streaming_content))
    return path


def test_one_question_stands_at_the_top(cast: Cast, keeper: Client) -> None:
    page = plain(keeper.get("/bundle").content.decode())
    assert "<h1>What does the auditor want to see?</h1>" in page
    assert "That they are true it cannot show." in page
    assert "North works" in page


def test_a_bundle_is_made_while_the_page_is_read_and_holds(
    cast: Cast, keeper: Client, tmp_path: Path
) -> None:
    page = made(keeper, detectors="D-017, D-018")

    assert re.search(r"<li>(\d+) of \1 entries</li>", page)
    assert re.search(r"<li>(\d+) of \1 papers</li>", page)
    said = re.search(r'Fingerprint of the book.s key</dt><dd class="serial">([0-9a-f ]{79})<', page)
    assert said is not None
    assert "by another way than the bundle" in page
    assert page.rstrip().endswith("</html>")
    told = verify(str(fetched(keeper, page, tmp_path)), said[1])
    assert told["answer"] == "holds"
    assert told["asked"]["detectors"] == ["D-017", "D-018"]


def test_a_site_with_its_days_and_without_names(cast: Cast, keeper: Client, tmp_path: Path) -> None:
    page = made(keeper, sites=[SITE], first="2026-03-01", last="2026-03-02", without_names="on")
    path = fetched(keeper, page, tmp_path)
    told = verify(str(path), public_key(HOME).fingerprint())
    assert told["answer"] == "holds"
    assert told["withheld"] > 0
    assert b"Marrel" not in path.read_bytes()


def test_every_fault_is_told_at_its_field_and_what_was_typed_stays(cast: Cast, keeper: Client) -> None:
    answer = keeper.post(
        "/bundle",
        {"detectors": "D-017 D-71", "people": "X-9", "first": "2026-03-02", "last": "2026-03-01",
         "paper": "b5", "since_size": "0"},
    )  # fmt: skip
    page = plain(answer.content.decode())
    assert answer.status_code == 422
    assert "The book does not know D-71." in page
    assert "The book does not know X-9." in page
    assert "It lies before the first day." in page
    assert page.count('class="field__error"') == 5
    assert 'value="D-017 D-71"' in page
    assert not list(HOME.glob("bundles/*"))


def test_nothing_asked_for_is_refused(cast: Cast, keeper: Client) -> None:
    answer = keeper.post("/bundle", {"paper": "a4"})
    assert answer.status_code == 422
    assert "Name at least one detector, site or person." in answer.content.decode()


def test_a_checkpoint_that_the_book_never_had_is_refused(cast: Cast, keeper: Client) -> None:
    answer = keeper.post("/bundle", {"paper": "a4", "detectors": "D-017", "since_size": "99999"})
    assert answer.status_code == 422
    assert "the book holds" in answer.content.decode()


def test_it_is_the_keepers_alone(cast: Cast, keeper: Client, tester: Client, tmp_path: Path) -> None:
    page = made(keeper, detectors="D-017")
    address = re.search(r'href="(/bundle/[0-9a-f-]{36})"', page)
    assert address is not None
    for answer in (tester.get("/bundle"), tester.post("/bundle"), tester.get(address[1])):
        assert answer.status_code == 403
    assert "/bundle" in keeper.get("/book").content.decode()
    assert "/bundle" not in tester.get("/book").content.decode()


@pytest.mark.parametrize("name", ["0195a000-0000-7000-8000-000000000001", "..%2Fbook-key.pem", "x"])
def test_a_bundle_that_is_not_there_is_not_found(cast: Cast, keeper: Client, name: str) -> None:
    assert keeper.get(f"/bundle/{name}").status_code == 404


def test_a_reader_who_goes_away_leaves_nothing_behind(cast: Cast, keeper: Client) -> None:
    answer = keeper.post("/bundle", {"paper": "a4", "detectors": "D-017"})
    assert isinstance(answer, StreamingHttpResponse)
    pieces = iter(answer.streaming_content)
    next(pieces)
    assert list(HOME.glob("bundles/.*.part"))
    answer.close()
    assert not list(HOME.glob("bundles/*"))
    assert not list(HOME.glob("bundles/.*.part"))


def test_a_fault_on_the_way_is_told_on_the_page_and_gives_no_file(
    cast: Cast, keeper: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    checkpoints.make_checkpoint(HOME)  # so that only the bundle meets the full disk
    monkeypatch.setattr(os, "fsync", full)
    page = made(keeper, detectors="D-017")
    assert "No bundle was made:" in page
    assert "No space left on device" in page
    assert "Fetch the bundle" not in page
    assert not list(HOME.glob("bundles/*"))


def test_after_a_day_it_is_gone(cast: Cast, keeper: Client, tmp_path: Path) -> None:
    page = made(keeper, detectors="D-017")
    (kept,) = HOME.glob("bundles/*.zip")
    long_ago = cast.now / 1000 - bundle_keeping.KEPT_SECONDS - 60
    os.utime(kept, (long_ago, long_ago))
    keeper.get("/bundle")
    address = re.search(r'href="(/bundle/[0-9a-f-]{36})"', page)
    assert address is not None
    assert keeper.get(address[1]).status_code == 404


def test_fetching_is_written_down_where_that_is_switched_on(
    cast: Cast, keeper: Client, tmp_path: Path, settings: Any
) -> None:
    from pitbird.services.seeing import sights

    settings.SEEN = True
    fetched(keeper, made(keeper, detectors="D-017"), tmp_path)
    assert [each.what for each in sights()] == ["export"]
