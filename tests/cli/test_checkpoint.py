"""Checkpoints and keys on the command line."""

from pathlib import Path

import pytest

from tests.cli.conftest import Pitbird


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


def test_a_witness_signs_and_is_named(own: Pitbird, tmp_path: Path) -> None:
    own("checkpoint make")
    key, witness = _keys(own)
    own(f"checkpoint export {tmp_path}/head --since 4 --proof {tmp_path}/proof")
    assert (tmp_path / "proof").read_bytes().startswith(b'{"from":4,"proof":["')

    assert own(f"checkpoint cosign {tmp_path}/head {tmp_path}/signed --key {key}").status == 0

    done = own(f"checkpoint verify {tmp_path}/signed --key {key} --witness {witness}")
    assert done.status == 0, done.out
    assert "Signed by the witness pitbird-book/" in done.out


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
