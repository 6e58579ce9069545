"""The page of checkpoints: what stands there, what the keeper does, what others may take."""

from __future__ import annotations

import shutil
import time
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.http import HttpResponse
from django.test import Client

from pitbird.fleet.times import Ms
from pitbird.record.checkpoint import read_census, verify_checkpoint
from pitbird.record.merkle import verify_consistency
from pitbird.record.note import cosign_note, read_note
from pitbird.services import book_keys, checkpoints, clock, stamping
from pitbird.services.key_rotation import rotate
from pitbird.services.witnessing import known_witnesses, witnessed
from pitbird.store import book
from tests.services.test_stamping import Authority
from tests.services.test_witnessing import CHANGES, KEYS, NEXT, OTHER, WITNESS, other, proof
from tests.web.conftest import Cast


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder of the test's own beside the book."""
    monkeypatch.setattr(settings, "CONFIG", SimpleNamespace(home=tmp_path))
    monkeypatch.delenv("PITBIRD_KEY_PASSPHRASE", raising=False)
    return tmp_path


def sent(client: Client, do: str, **fields: object) -> tuple[int, str]:
    """The page after a form was sent; files are bytes, or lists of them."""
    data: dict[str, object] = {"do": do}
    for name, value in fields.items():
        several = [SimpleUploadedFile(f"{at}.note", each) for at, each in enumerate(value, 1)] if isinstance(
            value, list
        ) else None  # fmt: skip
        data[name] = several or (SimpleUploadedFile("file", value) if isinstance(value, bytes) else value)
    answer: HttpResponse = client.post("/checkpoints", data, follow=True)  # type: ignore[assignment]
    return answer.status_code, answer.content.decode()


def cosigned(home: Path) -> bytes:
    """The newest checkpoint as it comes back from a witness."""
    note = read_note(checkpoints.make_checkpoint(home).path.read_bytes())
    return note.with_signature(cosign_note(note.text, WITNESS.name, KEYS[0], 1_772_000_000)).to_bytes()


def test_before_the_first_checkpoint_nobody_holds_proof(keeper: Client, home: Path) -> None:
    text = keeper.get("/checkpoints").content.decode()

    assert "Nobody: no checkpoint was made yet." in text
    assert not list(home.iterdir()), "looking makes nothing"


def test_the_keeper_makes_one_and_it_stands_there_with_the_key(keeper: Client, home: Path) -> None:
    status, text = sent(keeper, "make")

    made = checkpoints.kept(home)
    assert made is not None
    key = book_keys.public_key(home)
    assert status == 200
    assert f"A checkpoint of {book.head().size} entries." in text
    assert made.checkpoint.root.hex()[:16] in text
    assert "this book alone" in text
    assert key.fingerprint() in text
    words = book_keys.key_words(bytes.fromhex(key.fingerprint()))
    assert " ".join(words[:6]) in text
    assert "Nothing was added since the newest one." in sent(keeper, "make")[1]


def test_the_text_for_a_mail_holds_what_the_holder_needs(keeper: Client, home: Path) -> None:
    made = checkpoints.make_checkpoint(home)
    text = keeper.get("/checkpoints").content.decode()
    letter = text[text.index("<textarea") : text.index("</textarea>")]

    for needed in (
        "Portable gas detectors",
        f"Entries: {made.checkpoint.size}",
        f"Root: {made.checkpoint.root.hex()}",
        book_keys.public_key(home).text(),
        book_keys.public_key(home).fingerprint()[:39],
    ):
        assert needed in letter
    assert "mailto:" not in text


@pytest.mark.parametrize("do", ["make", "back", "witness", "stamp", "nonsense"])
def test_nobody_but_the_keeper_changes_anything(tester: Client, home: Path, do: str) -> None:
    assert sent(tester, do)[0] == 403
    assert not list(home.iterdir())


def test_whoever_is_signed_in_takes_checkpoint_census_key_and_proof(
    keeper: Client, tester: Client, cast: Cast, home: Path
) -> None:
    first = checkpoints.make_checkpoint(home).checkpoint
    cast.write({"kind": "note", "subject": "detector:D-017", "text": "rattles"})
    second = checkpoints.make_checkpoint(home)
    text = tester.get("/checkpoints").content.decode()
    assert f"/checkpoints/{first.size}/proof.json" in text
    assert "Make one now" not in text

    note = tester.get(f"/checkpoints/{second.checkpoint.size}/checkpoint.note")
    key = tester.get("/checkpoints/key").content.decode().strip()
    census = tester.get(f"/checkpoints/{second.checkpoint.size}/census.json").content
    grown = tester.get(f"/checkpoints/{first.size}/proof.json").json()

    assert key == book_keys.public_key(home).text()
    assert verify_checkpoint(note.content, book_keys.public_key(home)).checkpoint == second.checkpoint
    assert "attachment" in note["Content-Disposition"]
    assert read_census(census, second.checkpoint) == book.census()
    verify_consistency(
        old_size=first.size,
        new_size=second.checkpoint.size,
        old_root=first.root,
        new_root=second.checkpoint.root,
        proof=[bytes.fromhex(each) for each in grown["proof"]],
    )


@pytest.mark.parametrize(
    "address",
    [
        "99/checkpoint.note",
        "99/census.json",
        "99/proof.json",
        "99/stamp.tsr",
        "99/stamp-request.tsq",
        "key",
        "changes/1.note",
    ],
)
def test_what_is_not_there_is_not_found(keeper: Client, home: Path, address: str) -> None:
    assert keeper.get(f"/checkpoints/{address}").status_code == 404


def test_a_signature_that_comes_back_is_kept_and_named(keeper: Client, home: Path) -> None:
    data = cosigned(home)

    status, text = sent(keeper, "back", checkpoint=data, witness=WITNESS.text())

    assert status == 200
    assert "The signature of depot.example is kept." in text
    assert f"depot.example signed the checkpoint of {book.head().size} entries" in text
    assert "0 entries were added since." in text
    made = checkpoints.kept(home)
    assert made is not None
    assert made.path.read_bytes() == data
    assert "These signatures were kept already." in sent(keeper, "back", checkpoint=data)[1]


def test_what_does_not_hold_is_told_at_its_field_and_nothing_is_kept(keeper: Client, home: Path) -> None:
    data = cosigned(home)
    before = checkpoints.make_checkpoint(home).path.read_bytes()

    for fields, told in (
        ({}, "This field is required."),
        ({"checkpoint": data, "witness": "no key"}, "not of the form name+hash+base64"),
        ({"checkpoint": data}, "no witness known here has signed it"),
        ({"checkpoint": data, "witness": OTHER.text()}, "the key of a book"),
        ({"checkpoint": b"?", "witness": WITNESS.text()}, "no empty line between text and signatures"),
        ({"checkpoint": b"x" * 1_000_001}, "too large"),
    ):
        status, text = sent(keeper, "back", **fields)
        assert status == 422
        assert told in text
        assert "Nothing was written." in text
    assert checkpoints.make_checkpoint(home).path.read_bytes() == before
    assert known_witnesses(home) == ()


def test_another_books_head_is_signed_and_given_back(keeper: Client, tester: Client, home: Path) -> None:
    status, text = sent(keeper, "witness", checkpoint=other(3), key=OTHER.text())

    assert status == 200
    assert "is signed; give the file back" in text
    (seen,) = witnessed(home)
    assert f"/checkpoints/seen/{seen.digest}.note" in text
    signed = keeper.get(f"/checkpoints/seen/{seen.digest}.note").content
    ours = book_keys.public_key(home, witness=True)
    assert [name for name, _ in verify_checkpoint(signed, OTHER, [ours]).witnesses] == [ours.name]
    assert tester.get(f"/checkpoints/seen/{seen.digest}.note").status_code == 403
    assert keeper.get("/checkpoints/seen/..note").status_code == 404

    status, text = sent(keeper, "witness", checkpoint=other(7), key=OTHER.text())
    assert (status, "missing; one of 3 entries was seen before" in text) == (422, True)
    moved = sent(
        keeper, "witness", checkpoint=other(7, key=KEYS[1]), key=NEXT.text(), proof=proof(3, 7),
        changes=CHANGES[:1],
    )  # fmt: skip
    assert moved[0] == 200
    assert [each.size for each in witnessed(home)] == [7]


def test_a_key_without_its_passphrase_is_told_and_breaks_nothing(
    keeper: Client, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    checkpoints.make_checkpoint(home, b"tin")

    text = keeper.get("/checkpoints").content.decode()
    assert "No checkpoint is made at present." in text
    assert "set PITBIRD_KEY_PASSPHRASE" in text

    monkeypatch.setenv("PITBIRD_KEY_PASSPHRASE", "tin")
    assert "No checkpoint is made at present." not in keeper.get("/checkpoints").content.decode()


def test_one_that_was_edited_says_so_and_the_others_stand(keeper: Client, cast: Cast, home: Path) -> None:
    first = checkpoints.make_checkpoint(home)
    cast.write({"kind": "note", "subject": "detector:D-017", "text": "rattles"})
    second = checkpoints.make_checkpoint(home)
    first.path.write_bytes(first.path.read_bytes().replace(b"census/1", b"census/2"))

    text = keeper.get("/checkpoints").content.decode()

    assert "was not made by its key over this text" in text
    assert second.checkpoint.root.hex()[:16] in text
    first.path.with_name("book-key").write_bytes(b"")
    (home / "book-key.pub").write_bytes(b"\xff")
    assert keeper.get("/checkpoints").status_code == 200


def test_a_change_of_key_is_told_with_its_note(keeper: Client, cast: Cast, home: Path) -> None:
    done = rotate(home, cast.keeper)

    text = keeper.get("/checkpoints").content.decode()

    assert done.old.fingerprint() in text
    assert done.new.fingerprint() in text
    assert keeper.get("/checkpoints/changes/1.note").content == done.path.read_bytes()


def test_older_ones_are_a_page_further(keeper: Client, cast: Cast, home: Path) -> None:
    for number in range(32):
        cast.write({"kind": "note", "subject": "detector:D-017", "text": f"note {number}"})
        checkpoints.make_checkpoint(home)
    newest, oldest = book.head().size, book.head().size - 31

    text = keeper.get("/checkpoints").content.decode()
    assert f"/checkpoints/{newest}/checkpoint.note" in text
    assert f"/checkpoints/{oldest}/checkpoint.note" not in text
    earlier = keeper.get(f"/checkpoints?before={newest - 29}").content.decode()
    assert f"/checkpoints/{oldest}/checkpoint.note" in earlier
    assert f"/checkpoints/{newest}/checkpoint.note" not in earlier


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl plays the authority")
@pytest.mark.skipif(not stamping.can_read_stamps(), reason="the extra `sign` is not installed")
def test_a_time_stamp_is_asked_for_given_in_and_shown(
    keeper: Client, home: Path, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    size = checkpoints.make_checkpoint(home).checkpoint.size
    authority = Authority(tmp_path_factory.mktemp("tsa") / "one")
    monkeypatch.setattr(clock, "now", lambda: Ms(int(time.time() * 1000)))
    request = keeper.get(f"/checkpoints/{size}/stamp-request.tsq").content
    answer = authority.answers(request)

    status, text = sent(keeper, "stamp", stamp=answer, ca=b"none")
    assert (status, "holds no certificate in PEM form" in text) == (422, True)
    status, text = sent(keeper, "stamp", stamp=request, ca=authority.ca)
    assert (status, "not a response of a time-stamp authority" in text) == (422, True)
    status, text = sent(keeper, "stamp", stamp=answer, ca=authority.ca)

    assert status == 200
    assert "The time stamp of Invented Stamps is kept." in text
    assert "time stamp of Invented Stamps, " in text
    assert keeper.get(f"/checkpoints/{size}/stamp.tsr").content == answer
    monkeypatch.setattr(stamping, "find_spec", lambda name: None)
    text = keeper.get("/checkpoints").content.decode()
    assert "what would read it is not installed here" in text
    assert "pip install" in text
    assert keeper.get(f"/checkpoints/{size}/stamp-request.tsq").status_code == 404
