"""Checkpoints and keys on the command line."""

import shutil
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from pitbird.record.checkpoint import Checkpoint
from pitbird.record.merkle import leaf_hash, root_of
from pitbird.record.note import COSIGNATURE, Note, VerifierKey, cosign_note, read_note, sign_note
from pitbird.services import clock, stamping
from pitbird.services.book_keys import key_words
from tests.cli.conftest import Pitbird
from tests.services.test_stamping import Authority


@pytest.fixture
def own(begun: Pitbird, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Pitbird:
    """A begun book whose keys and checkpoints lie in a folder of the test's own."""
    monkeypatch.setattr("pitbird.cli.ready.home", lambda: tmp_path)
    monkeypatch.delenv("PITBIRD_KEY_PASSPHRASE", raising=False)
    return begun


def _keys(own: Pitbird) -> tuple[str, str]:
    lines = own("key show").out.splitlines()
    return lines[0].split()[-1], lines[1].split()[-1]


def test_a_checkpoint_is_made_exported_and_verified(own: Pitbird, tmp_path: Path) -> None:
    made = own("checkpoint make")
    assert made.status == 0, made.err
    assert "Checkpoint of 10 entries" in made.out
    key, _ = _keys(own)
    assert own(f"checkpoint export {tmp_path}/head").status == 0
    assert (tmp_path / "head").read_text("utf-8") == own("checkpoint show").out
    (census,) = (tmp_path / "checkpoints").rglob("*.census.json")

    done = own(f"checkpoint verify {tmp_path}/head --key {key} --census {census}")

    assert done.status == 0, done.out
    assert "10 entries" in done.out


def test_a_changed_checkpoint_does_not_hold(own: Pitbird, tmp_path: Path) -> None:
    own("checkpoint make")
    key, witness = _keys(own)
    head = tmp_path / "head"
    own(f"checkpoint export {head}")
    assert own(f"checkpoint verify {head} --key {key} --witness {witness}").status == 1
    head.write_bytes(head.read_bytes().replace(b"\n10\n", b"\n11\n"))

    done = own(f"checkpoint verify {head} --key {key}")

    assert done.status == 1
    assert "was not made by its key" in done.out


def test_a_daily_one_is_made_once_and_again_a_day_later_if_the_book_grew(
    own: Pitbird, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "Checkpoint of 10 entries" in own("checkpoint make --daily").out
    own("write -", '{"kind": "note", "subject": "detector:D-017", "text": "rattles"}')
    assert own("checkpoint make --daily").out == ""
    later = clock.now() + 25 * 3600 * 1000
    monkeypatch.setattr(clock, "now", lambda: later)

    assert "Checkpoint of 11 entries" in own("checkpoint make --daily").out
    assert own("checkpoint make --daily").out == ""


# The book of somebody else, and a witness of this one: the same key in both its uses.
KEY = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
OTHER = VerifierKey("pitbird-book/other", KEY.public_key().public_bytes_raw())
WITNESS = VerifierKey("depot.example", OTHER.public, COSIGNATURE)


def _other(path: Path) -> Path:
    """A checkpoint of the other book, of two entries."""
    text = Checkpoint(OTHER.name, 2, root_of([leaf_hash(b"a"), leaf_hash(b"b")])).text()
    path.write_bytes(Note(text, (sign_note(text, OTHER.name, KEY),)).to_bytes())
    return path


def test_a_witness_signs_and_is_named(own: Pitbird, tmp_path: Path) -> None:
    own("checkpoint make")
    _, witness = _keys(own)

    done = own(f"checkpoint cosign {_other(tmp_path / 'head')} {tmp_path}/signed --key {OTHER.text()}")
    assert done.status == 0, done.err

    done = own(f"checkpoint verify {tmp_path}/signed --key {OTHER.text()} --witness {witness}")
    assert done.status == 0, done.out
    assert "Signed by the witness pitbird-book/" in done.out


def test_an_export_for_a_witness_has_the_proof_that_the_book_grew(own: Pitbird, tmp_path: Path) -> None:
    own("checkpoint make")

    assert own(f"checkpoint export {tmp_path}/head --since 4 --proof {tmp_path}/proof").status == 0

    assert (tmp_path / "proof").read_bytes().startswith(b'{"from":4,"proof":["')


def test_what_a_witness_signed_is_kept(own: Pitbird, tmp_path: Path) -> None:
    own("checkpoint make")
    own(f"checkpoint export {tmp_path}/head")
    note = read_note((tmp_path / "head").read_bytes())
    signed = note.with_signature(cosign_note(note.text, WITNESS.name, KEY, 1_772_000_000))
    (tmp_path / "signed").write_bytes(signed.to_bytes())
    refused = own(f"checkpoint witnessed {tmp_path}/signed")
    assert (refused.status, "no witness known here" in refused.err) == (2, True)

    done = own(f"checkpoint witnessed {tmp_path}/signed --witness {WITNESS.text()}")

    assert done.status == 0, done.err
    assert "Signed by the witness depot.example at 2026-02-25T06:13:20.000Z; kept." in done.out
    assert own("checkpoint show").out == signed.to_bytes().decode()
    assert "Nothing new" in own(f"checkpoint witnessed {tmp_path}/signed").out


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl plays the authority")
@pytest.mark.skipif(not stamping.can_read_stamps(), reason="the extra `sign` is not installed")
def test_a_time_stamp_is_asked_for_and_kept(own: Pitbird, tmp_path: Path) -> None:
    assert "no checkpoint yet" in own(f"checkpoint stamp-request {tmp_path}/asked").err
    own("checkpoint make")
    authority = Authority(tmp_path / "tsa")
    assert own(f"checkpoint stamp-request {tmp_path}/asked").status == 0
    (tmp_path / "answer").write_bytes(authority.answers((tmp_path / "asked").read_bytes()))
    line = f"checkpoint stamp {tmp_path}/answer --ca {authority.folder}/ca.pem"

    done = own(line)

    assert done.status == 0, done.err
    assert done.out.startswith("Invented Stamps had the checkpoint of 10 entries at ")
    assert own(line).out.startswith("An earlier one is kept already:")
    assert own(f"checkpoint stamp {tmp_path}/asked --ca {authority.folder}/ca.pem").status == 2


def test_the_key_is_shown_in_words_too(own: Pitbird) -> None:
    own("checkpoint make")
    lines = own("key show").out.splitlines()

    words = [word for line in lines[3:7] for word in line.removeprefix("in words").split()]
    assert lines[2].startswith("fingerprint")
    assert " ".join(words) == " ".join(key_words(bytes.fromhex(lines[2].removeprefix("fingerprint"))))


def test_a_changed_key_is_followed_from_the_old_one(own: Pitbird, tmp_path: Path) -> None:
    own("checkpoint make")
    old, _ = _keys(own)
    assert own(f"checkpoint export {tmp_path}/before").status == 0

    done = own("key rotate --because exposed")

    assert done.status == 0, done.err
    assert "Change 1 of the key is entry 10 of the book." in done.out
    assert "Checkpoint of 11 entries by the new key" in done.out
    new, _ = _keys(own)
    assert new != old
    assert "before change 1: " in own("key show").out
    (change,) = (tmp_path / "keys").rglob("0001.note")
    own(f"checkpoint export {tmp_path}/after")
    assert own(f"checkpoint verify {tmp_path}/after --key {old}").status == 1
    assert own(f"checkpoint verify {tmp_path}/after --key {old} --change {change}").status == 0
    assert own(f"checkpoint verify {tmp_path}/before --key {old} --change {change}").status == 0
    assert own(f"checkpoint verify {tmp_path}/before --key {new} --change {change}").status == 1
    assert "WRONG" not in own("doctor").out


def test_a_change_for_an_odd_reason_is_refused(own: Pitbird) -> None:
    own("checkpoint make")
    refused = own("key rotate --because whim")
    assert (refused.status, "because: 'whim'" in refused.err) == (2, True)


def test_what_is_missing_is_said(own: Pitbird, tmp_path: Path) -> None:
    assert "no checkpoint yet" in own("checkpoint show").err
    assert "no key yet" in own("key show").err
    refused = own(f"checkpoint export {tmp_path}/head --since 4")
    assert refused.status == 2
    assert "belong together" in refused.err


def test_the_doctor_tells_of_a_book_that_left_its_checkpoint(own: Pitbird, tmp_path: Path) -> None:
    assert "WRONG" not in own("doctor").out
    own("checkpoint make")
    (note,) = (tmp_path / "checkpoints").rglob("*.note")
    note.write_bytes(note.read_bytes().replace(b"\n10\n", b"\n11\n"))

    done = own("doctor")

    assert done.status == 1
    assert "cannot be relied on" in done.out
