"""An auditor's link: what it opens and what not, until when, and that nothing gives it away."""

from __future__ import annotations

import re
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.http import FileResponse
from django.test import Client

from pitbird.fleet.times import Ms
from pitbird.papers.bundle.verify import verify
from pitbird.record.merkle import verify_inclusion
from pitbird.services import checkpoints, clock, seeing
from pitbird.services.audits import DAY, audits
from pitbird.store import book
from tests.web.conftest import SITE, Cast, passed

HOME = Path(settings.CONFIG.home)


@pytest.fixture(autouse=True)
def no_files() -> Iterator[None]:
    """The folder of the book as it was."""
    yield
    for path in (*HOME.glob("bundles/*"), *HOME.glob("bundles/.*"), *HOME.glob("checkpoints/*/*")):
        path.unlink()
    for name in ("book-key.pem", "book-key.pub"):
        (HOME / name).unlink(missing_ok=True)


def plain(answer: Any) -> str:
    return re.sub(r"\s+", " ", answer.content.decode())


def given(keeper: Client, **fields: Any) -> str:
    """The address of a link, as the keeper reads it off the page."""
    asked = {"reader": "Inspectorate, Mr Sorrel", "days": "7", "detectors": "D-017", **fields}
    answer = keeper.post("/audits", asked)
    found = re.search(r"http://testserver(/audit/in/[A-Za-z0-9_-]{43})", plain(answer))
    assert found, plain(answer)
    return found[1]


@pytest.fixture
def auditor() -> Client:
    """Somebody without an account."""
    return Client()


def entered(auditor: Client, link: str) -> str:
    answer = auditor.get(link, follow=True)
    assert answer.status_code == 200, plain(answer)
    return plain(answer)


@pytest.mark.parametrize(("host", "told"), [("127.0.0.1:8321", True), ("testserver", False)])
def test_a_link_that_opens_on_this_machine_only_is_told_to(
    cast: Cast, keeper: Client, host: str, told: bool
) -> None:
    asked = {"reader": "Inspectorate", "days": "7", "detectors": "D-017"}
    page = plain(keeper.post("/audits", asked, headers={"host": host}))
    assert "/audit/in/" in page
    assert ("the link opens nowhere else" in page) is told


def test_the_link_opens_what_was_chosen_and_no_more(cast: Cast, keeper: Client, auditor: Client) -> None:
    page = entered(auditor, given(keeper))
    assert "<h1>What does this link open?</h1>" in page
    assert "Inspectorate, Mr Sorrel" in page
    assert "detector:D-017" in page
    assert "detector:D-018" not in page
    assert auditor.get("/audit/about/detector:D-018").status_code == 404
    for elsewhere in ("/", "/book", "/detectors/D-017", "/api/gate", "/bundle", "/audits"):
        assert auditor.get(elsewhere).status_code in {302, 401}


def test_a_stamp_is_followed_to_its_entries_and_each_to_the_signed_root(
    cast: Cast, keeper: Client, auditor: Client
) -> None:
    entered(auditor, given(keeper))
    page = plain(auditor.get("/audit/about/detector:D-017?at=2026-03-02T12:00"))
    assert "May go out" in page or "may go out" in page
    places = {int(place) for place in re.findall(r"/audit/entry/(\d+)", page)}
    assert places
    for place in places:
        page = plain(auditor.get(f"/audit/entry/{place}"))
        leaf, *proof, root = re.findall(r'<dd class="serial">([0-9a-f]{64})</dd>', page)
        row = book.at_index(place)
        assert row is not None
        assert leaf == row.leaf_hash.hex()
        held = checkpoints.kept(HOME)
        assert held is not None
        assert root == held.checkpoint.root.hex()
        verify_inclusion(
            leaf=bytes.fromhex(leaf),
            index=place,
            size=held.checkpoint.size,
            proof=[bytes.fromhex(each) for each in proof],
            root=held.checkpoint.root,
        )


def test_every_entry_that_it_does_not_open_is_not_found(cast: Cast, keeper: Client, auditor: Client) -> None:
    entered(auditor, given(keeper))
    seen = [index for index in range(book.head().size + 2) if _there(auditor, index)]
    other = [row.index for row in book.about("detector:D-018") if row.kind == "detector"]
    assert seen
    assert not set(seen) & set(other)
    assert auditor.get(f"/audit/entry/{2**60}").status_code == 404


def _there(auditor: Client, index: int) -> bool:
    return auditor.get(f"/audit/entry/{index}").status_code == 200


def test_the_bundle_of_the_link_holds(cast: Cast, keeper: Client, auditor: Client, tmp_path: Path) -> None:
    entered(auditor, given(keeper))
    answer = auditor.post("/audit/bundle")
    assert isinstance(answer, FileResponse)
    path = tmp_path / "bundle.zip"
    path.write_bytes(b"".join(answer.streaming_content))
    told = verify(str(path), checkpoints.public_key(HOME).fingerprint())
    assert (told["answer"], told["asked"]["detectors"]) == ("holds", ["D-017"])
    signed = auditor.get("/audit/checkpoint")
    held = checkpoints.kept(HOME)
    assert held is not None
    assert signed.content.startswith(held.checkpoint.text().encode()[:60])


def test_without_names_no_name_is_told_anywhere(cast: Cast, keeper: Client, auditor: Client) -> None:
    cast.write({"kind": "note", "subject": "detector:D-017", "text": "dropped by Oswin near the wall"})
    link = given(keeper, without_names="on")
    pages = [entered(auditor, link), plain(auditor.get("/audit/about/detector:D-017"))]
    pages += [plain(auditor.get(f"/audit/entry/{row.index}")) for row in book.about("detector:D-017")]
    for name in ("Marrel", "Fontanova", "Oswin"):
        assert not any(name in page for page in pages), name
    assert any("withheld from this reader" in page for page in pages)


def test_it_ends_by_itself(
    cast: Cast, keeper: Client, auditor: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    entered(auditor, given(keeper, days="1"))
    now = clock.now()
    monkeypatch.setattr(clock, "now", lambda: Ms(now + DAY + 1))
    answer = auditor.get("/audit")
    assert (answer.status_code, "wrong, has ended, or was taken back" in plain(answer)) == (403, True)


def test_it_can_be_taken_back_and_that_is_an_entry(cast: Cast, keeper: Client, auditor: Client) -> None:
    link = given(keeper)
    entered(auditor, link)
    (audit,) = audits()
    answer = keeper.post(f"/audits/{audit.entry_id}/take-back", follow=True)
    assert "The link opens nothing any more." in plain(answer)
    assert auditor.get("/audit").status_code == 403
    assert Client().get(link, follow=True).status_code == 403
    newest = book.at_index(book.head().size - 1)
    assert newest is not None
    assert newest.kind == "audit-closed"
    keeper.post(f"/audits/{audit.entry_id}/take-back")
    assert book.head().size == newest.index + 1


def test_the_book_and_its_files_do_not_hold_the_secret(cast: Cast, keeper: Client) -> None:
    secret = given(keeper).rpartition("/")[2]
    leaves = "".join(row.leaf for row in book.all_rows())
    assert secret not in leaves
    assert sha256(secret.encode()).hexdigest() in leaves
    assert secret not in plain(keeper.get("/audits"))
    assert secret not in plain(keeper.get(f"/book/{book.head().size - 1}"))


def test_nothing_that_is_sent_gives_the_secret_away(
    cast: Cast, keeper: Client, auditor: Client, caplog: pytest.LogCaptureFixture
) -> None:
    link = given(keeper)
    secret = link.rpartition("/")[2]
    with caplog.at_level("DEBUG"):
        first = auditor.get(link)
        pages = [first, auditor.get("/audit"), auditor.get("/audit/about/detector:D-017")]
        wrong = Client().get("/audit/in/" + "x" * 43)
    for page in (*pages, wrong):
        assert page["Referrer-Policy"] == "no-referrer"
        assert page["Cache-Control"] == "no-store"
        assert secret not in page.content.decode()
    cookie = first.cookies["pitbird-audit"]
    assert (cookie["httponly"], cookie["path"], cookie["samesite"]) == (True, "/audit", "Lax")
    assert secret not in caplog.text
    assert "x" * 43 not in caplog.text
    assert first["Location"] == "/audit"


def test_only_a_keeper_gives_a_link(cast: Cast, tester: Client) -> None:
    asked = {"reader": "Somebody", "days": "7", "detectors": "D-017"}
    assert tester.post("/audits", asked).status_code == 403
    assert tester.get("/audits").status_code == 403
    assert not audits()


def test_every_fault_of_the_question_is_told_at_once(cast: Cast, keeper: Client) -> None:
    answer = keeper.post("/audits", {"reader": " ", "days": "400", "detectors": "D-71"})
    page = plain(answer)
    assert answer.status_code == 422
    assert page.count('class="field__error"') == 3
    assert not audits()


def test_a_site_and_its_days_show_the_fence(cast: Cast, keeper: Client, auditor: Client) -> None:
    cast.write(passed("D-018", Ms(cast.now - 5 * 60_000)), by=cast.tester)
    page = entered(auditor, given(keeper, detectors="", sites=[SITE], first="2026-03-02"))
    assert "detector:D-017" in page
    assert "detector:D-019" in page
    assert "all that was recorded since" in page


def test_what_was_asked_with_other_methods_changes_nothing(
    cast: Cast, keeper: Client, auditor: Client
) -> None:
    entered(auditor, given(keeper))
    for address in ("/audit", "/audit/about/detector:D-017", "/audit/entry/0"):
        assert auditor.post(address).status_code == 405
    assert auditor.get("/audit/bundle").status_code == 405


def test_reading_names_by_a_link_is_written_down_where_that_is_asked_for(
    cast: Cast, keeper: Client, auditor: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "SEEN", True)
    link = given(keeper)
    entered(auditor, link)
    (audit,) = audits()
    (sight,) = [each for each in seeing.sights() if each.what == "audit"]
    assert (sight.account, sight.about) == (seeing.LINK, audit.entry_id)
    page = plain(keeper.get("/seen"))
    assert "by a link" in page
    assert f"/book/id/{audit.entry_id}" in page
    entered(Client(), given(keeper, without_names="on"))
    assert len([each for each in seeing.sights() if each.what == "audit"]) == 1
