"""Erasing on the pages: the name is nowhere afterwards, only a keeper may, and only with the code typed."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from django.contrib.auth.models import User
from django.test import Client

from pitbird.record.book import verify_book
from pitbird.services.erasing import sealed_about
from pitbird.services.moving import export_book
from pitbird.store import blobs, book
from pitbird.store.blobs import SealedBlob
from pitbird.store.models import Login
from tests.web.conftest import KEEPER, TESTER, Cast, sign_in
from tests.web.test_addresses import pages

ERASE = "/people/P-07/erase"


def wear(cast: Cast) -> None:
    """The tester wears a detector, is named in notes, and was described twice."""
    cast.write(
        {"kind": "handed-out", "detector": "detector:D-017", "to": TESTER, "from_store": True,
         "note": "larger clip"},
        minutes_ago=9,
    )  # fmt: skip
    cast.write({"kind": "note", "subject": "detector:D-018", "text": "Rui Marrel heard a rattle"})
    cast.write({"kind": "note", "subject": "detector:D-018", "text": "ask Marrel again"})
    cast.write(
        {"kind": "person", "person": TESTER, "name": "Rui Marrel", "roles": ["tester"], "note": "wears M"}
    )


def answers(client: Client) -> Iterator[tuple[str, str]]:
    """Every page, every answer of the API and the export, as text."""
    size = book.head().size
    for address in [
        *pages(), "/seen", "/retention", ERASE, "/?wearer=P-07", "/?q=rui", "/detectors?q=rui",
        *(f"/book/{index}" for index in range(size)), *(f"/book/{index}/erase" for index in range(size)),
        "/api/gate", "/api/gate?wearer=P-07", "/api/detectors/D-017", "/api/detectors/D-018",
    ]:  # fmt: skip
        answer = client.get(address)
        assert answer.status_code in (200, 404, 409), address
        yield address, answer.content.decode()
    yield "/book/export", b"".join(client.get("/book/export").streaming_content).decode()  # type: ignore[attr-defined]


def naming(client: Client) -> list[str]:
    return [
        address for address, text in answers(client) if re.search("marrel|>rui|“rui", text, re.IGNORECASE)
    ]


def form(client: Client, address: str) -> dict[str, list[str] | str]:
    """What the form would send as it stands, without the confirmation."""
    page = client.get(address).content.decode()
    ticked: dict[str, list[str] | str] = {}
    for name in ("shared", "naming", "texts", "close"):
        boxes = re.findall(rf'<input type="checkbox" name="{name}"([^>]*)>', page)
        values = [re.search(r'value="([^"]*)"', box) for box in boxes if "checked" in box]
        if values:
            ticked[name] = [value[1] if value else "on" for value in values]
    return ticked


def test_the_name_is_nowhere_afterwards(cast: Cast, keeper: Client) -> None:
    wear(cast)
    before = naming(keeper)
    assert {"/people", "/people/P-07", "/", "/?wearer=P-07", "/book", "/book/export", "/detectors"} <= set(
        before
    )
    sent = form(keeper, ERASE)
    page = keeper.get(ERASE).content.decode()
    part = re.search(r'value="(sha256:[0-9a-f]{64})"[^>]*>\s*[^<]*“ask Marrel', page)
    assert part is not None
    sent["naming"] = [*sent["naming"], part[1]]
    done = keeper.post(ERASE, {**sent, "because": "request", "confirm": "P-07"})
    assert (done.status_code, done["Location"]) == (302, "/people/P-07")
    assert "marrel" not in str(done.cookies).casefold()
    assert naming(keeper) == []
    assert "P-07 (name withheld)" in keeper.get("/people").content.decode()
    assert "P-07 (name withheld)" in keeper.get("/detectors").content.decode()
    assert keeper.get("/?q=marrel").content.decode().count("<tbody") == 0
    report = verify_book(export_book())
    assert len(report.withheld) == 6


def test_the_page_says_what_goes_what_may_and_what_stays(cast: Cast, keeper: Client) -> None:
    wear(cast)
    page = re.sub(r"\s+", " ", keeper.get(ERASE).content.decode())
    assert "“Rui Marrel”" in page
    assert "“wears M”" in page
    assert "“larger clip” (Handed out, D-017, P-07, entry" in page
    assert "Every export, backup and printed page made before" in page
    assert "This cannot be undone by anybody." in page
    # The whole name is ticked beforehand, a part of it is not.
    whole = re.search(r"<input[^>]*>(?=\s*[^<]*“Rui Marrel heard)", page)
    part = re.search(r"<input[^>]*>(?=\s*[^<]*“ask Marrel)", page)
    assert whole is not None
    assert "checked" in whole[0]
    assert part is not None
    assert "checked" not in part[0]


@pytest.mark.parametrize("confirm", ["", "P-7", "p-07", "Rui Marrel"])
def test_without_the_code_typed_nothing_goes(cast: Cast, keeper: Client, confirm: str) -> None:
    size = book.head().size
    answer = keeper.post(ERASE, {"because": "request", "confirm": confirm})
    assert answer.status_code == 422
    assert "Nothing was written" in answer.content.decode()
    assert book.head().size == size
    assert sealed_about(TESTER)


def test_a_text_that_bears_no_name_cannot_be_slipped_in(cast: Cast, keeper: Client) -> None:
    cast.write({"kind": "note", "subject": "detector:D-018", "text": "filter changed"})
    (other,) = [blob.commitment for blob in blobs.every_text() if blob.text == "filter changed"]
    answer = keeper.post(ERASE, {"because": "request", "confirm": "P-07", "naming": [other]})
    assert answer.status_code in (302, 422)
    assert other in blobs.get([other])


@pytest.mark.parametrize("address", [ERASE, "/book/4/erase", "/retention", "/seen"])
def test_only_a_keeper_sees_or_does_it(tester: Client, address: str) -> None:
    assert tester.get(address).status_code == 403
    sent = tester.post(address, {"because": "request", "confirm": "P-07", "mark": "x"})
    assert sent.status_code in (403, 405)
    assert sealed_about(TESTER)


def test_the_links_stand_only_before_a_keeper(keeper: Client, cast: Cast) -> None:
    tester = sign_in(TESTER, "rui-2")
    assert ERASE in keeper.get("/people/P-07").content.decode()
    assert ERASE not in tester.get("/people/P-07").content.decode()
    assert "/book/4/erase" in keeper.get("/book/4").content.decode()
    assert "/book/4/erase" not in tester.get("/book/4").content.decode()
    assert "/book/0/erase" not in keeper.get("/book/0").content.decode()


def test_the_account_is_closed_where_that_was_ticked(keeper: Client, tester: Client) -> None:
    assert tester.get("/").status_code == 200
    done = keeper.post(ERASE, {"because": "request", "confirm": "P-07", "close": "on"})
    assert done.status_code == 302
    assert not User.objects.filter(username="rui").exists()
    assert not Login.objects.filter(person=TESTER).exists()
    assert tester.get("/").status_code == 302


def test_the_account_stays_where_it_was_not_ticked_and_one_says_that_its_name_tells(
    keeper: Client, tester: Client
) -> None:
    page = keeper.get(ERASE).content.decode()
    assert "Close the account “rui” too" in page
    assert "gives this person away" in page
    keeper.post(ERASE, {"because": "request", "confirm": "P-07"})
    assert User.objects.filter(username="rui").exists()


def test_nobody_closes_their_own_account(keeper: Client) -> None:
    page = keeper.get("/people/K-1/erase").content.decode()
    assert 'name="close"' not in page
    assert "let another keeper do it" in page
    keeper.post("/people/K-1/erase", {"because": "request", "confirm": "K-1", "close": "on"})
    assert User.objects.filter(username="ilda").exists()
    assert sealed_about(KEEPER) == ()


def test_who_is_not_in_the_book_is_not_found_and_who_is_erased_has_nothing_left(keeper: Client) -> None:
    assert keeper.get("/people/P-99/erase").status_code == 404
    keeper.post(ERASE, {"because": "request", "confirm": "P-07"})
    assert "No name, text or account of this person is left." in keeper.get(ERASE).content.decode()


def entry_with_note(cast: Cast) -> int:
    cast.write({"kind": "note", "subject": "detector:D-018", "text": "seen at the doctor's"})
    return book.head().size - 1


def test_a_text_of_an_entry_goes_and_the_entry_says_withheld(cast: Cast, keeper: Client) -> None:
    index = entry_with_note(cast)
    address = f"/book/{index}/erase"
    sent = form(keeper, address)
    done = keeper.post(address, {**sent, "because": "mistake", "confirm": str(index)})
    assert (done.status_code, done["Location"]) == (302, f"/book/{index}")
    page = keeper.get(f"/book/{index}").content.decode()
    assert "doctor" not in page
    assert "withheld: this text was erased" in page
    assert f"{address}" not in page
    erasure = book.at_index(index + 1)
    assert erasure is not None
    assert erasure.kind == "erasure"
    assert '"subject":"detector:D-018"' in erasure.leaf


def test_a_photo_of_an_entry_can_be_erased_too(cast: Cast, keeper: Client) -> None:
    cast.write({"kind": "happened", "detector": "detector:D-018", "what": "drop", "note": "from a ladder",
                "photo": "picture"})  # fmt: skip
    index = book.head().size - 1
    (photo,) = [blob for blob in blobs.every_text() if blob.text == "picture"]
    blobs.erase([photo.commitment])
    blobs.put([SealedBlob(photo.commitment, photo.salt, "image/jpeg", b"\xff\xd8picture")])
    page = keeper.get(f"/book/{index}/erase").content.decode()
    assert "Photo" in page
    assert "picture" not in page
    done = keeper.post(
        f"/book/{index}/erase", {"texts": [photo.commitment], "because": "other", "confirm": str(index)}
    )
    assert done.status_code == 302
    assert blobs.get([photo.commitment]) == {}
    assert "from a ladder" in {blob.text for blob in blobs.every_text()}


@pytest.mark.parametrize(
    "change",
    [{"confirm": "1"}, {"because": ""}, {"because": "boredom"}, {"texts": []}, {"texts": ["sha256:00"]}],
)
def test_an_erasure_of_a_text_that_is_not_whole_erases_nothing(
    cast: Cast, keeper: Client, change: dict[str, object]
) -> None:
    index = entry_with_note(cast)
    sent = {**form(keeper, f"/book/{index}/erase"), "because": "mistake", "confirm": str(index), **change}
    assert keeper.post(f"/book/{index}/erase", sent).status_code == 422
    assert "seen at the doctor's" in {blob.text for blob in blobs.every_text()}
    assert book.head().size == index + 1
