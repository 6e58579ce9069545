"""Proofs on pages, followed by hand as the page says, and the leaf byte for byte."""

from __future__ import annotations

import base64
import re
from hashlib import sha256
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.conf import settings
from django.test import Client

from pitbird.record.completeness import verify_subject
from pitbird.services import checkpoints
from tests.web.conftest import Cast


@pytest.fixture
def home(cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home folder with a checkpoint of the whole small book."""
    monkeypatch.setattr(settings, "CONFIG", SimpleNamespace(home=tmp_path))
    checkpoints.make_checkpoint(tmp_path)
    return tmp_path


def test_the_page_of_an_entry_says_how_to_check_it_by_hand_and_that_works(keeper: Client, home: Path) -> None:
    page = keeper.get("/book/4").content.decode()
    assert "Proof that it stands in the book" in page
    leaf = keeper.get("/book/4/leaf")
    assert leaf["Content-Disposition"] == 'attachment; filename="leaf-4.json"'
    so_far = sha256(b"\x00" + leaf.content).hexdigest()
    steps = page[page.index("proof-steps") :]
    hashes = re.findall(r"[0-9a-f]{64}", steps)
    assert len(hashes) >= 9
    for left, right, made in zip(hashes[::3], hashes[1::3], hashes[2::3], strict=True):
        assert so_far in (left, right)
        so_far = sha256(b"\x01" + bytes.fromhex(left) + bytes.fromhex(right)).hexdigest()
        assert so_far == made
    lines = keeper.get("/api/checkpoint").content.decode().split("\n")
    assert base64.b64decode(lines[2]).hex() == so_far
    assert f"at {lines[1]} entries" in page


def test_an_entry_younger_than_the_checkpoint_is_not_covered_yet(
    keeper: Client, home: Path, cast: Cast
) -> None:
    cast.write({"kind": "note", "subject": "detector:D-017", "text": "Clip is loose."})
    index = checkpoints.make_checkpoint(home).checkpoint.size - 1
    (next(home.glob(f"checkpoints/*/{index + 1:019d}.note"))).unlink()
    assert (
        f"Not yet: entry {index} was written after the newest checkpoint"
        in keeper.get(f"/book/{index}").content.decode()
    )


def test_without_a_checkpoint_the_page_says_so(
    keeper: Client, cast: Cast, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(settings, "CONFIG", SimpleNamespace(home=tmp_path))
    assert "there is no checkpoint yet" in keeper.get("/book/4").content.decode()
    page = keeper.get("/detectors/D-017/complete")
    assert page.status_code == 200
    assert "That cannot be shown: there is no checkpoint yet" in page.content.decode()
    for each in (keeper.get("/book/4").content.decode(), page.content.decode()):
        assert "pitbird checkpoint make" not in each
        assert 'href="/checkpoints">The checkpoints</a>' in each


def test_a_detectors_record_is_shown_to_be_complete(keeper: Client, home: Path, cast: Cast) -> None:
    page = keeper.get("/detectors/D-017/complete").content.decode()
    assert "counts 3 entries about it, and numbers 1 to 3 are here" in page
    assert "younger than that checkpoint" not in page
    numbers = re.findall(r'role="rowheader">(\d+)</th>', page)
    assert numbers == ["3", "2", "1"]
    cast.write({"kind": "note", "subject": "detector:D-017", "text": "Clip is loose."})
    page = keeper.get("/detectors/D-017/complete").content.decode()
    assert "1 entry about it is younger than that checkpoint" in page
    assert re.findall(r'role="rowheader">(\d+)</th>', page) == ["3", "2", "1"]


def test_the_file_of_the_page_is_verified_with_the_key_alone(keeper: Client, home: Path) -> None:
    for asked in ("detector:D-017", "D-017"):
        answer = keeper.get("/api/proof/subject", {"subject": asked})
        shown = verify_subject(answer.content, checkpoints.public_key(home))
        assert (shown.subject, shown.count) == ("detector:D-017", 3)


def test_the_inclusion_under_the_newest_checkpoint_names_it(keeper: Client, home: Path) -> None:
    value = keeper.get("/api/proof/inclusion", {"index": 2}).json()
    assert value["origin"] == checkpoints.origin()
    assert set(value) == {"index", "leaf_hash", "origin", "proof", "root", "size"}


@pytest.mark.parametrize("asked", ["subject=detector:D-999", "subject=", "", "subject=nonsense%20x"])
def test_a_subject_without_entries_is_refused_in_words(keeper: Client, home: Path, asked: str) -> None:
    answer = keeper.get(f"/api/proof/subject?{asked}")
    assert answer.status_code == 422
    assert answer.json()["message"]


def test_an_entry_or_a_detector_that_is_not_there_has_no_page(keeper: Client, home: Path) -> None:
    assert keeper.get("/book/9999/leaf").status_code == 404
    assert keeper.get(f"/book/{2**63}/leaf").status_code == 404
    assert keeper.get("/detectors/D-999/complete").status_code == 404
