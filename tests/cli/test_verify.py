"""``pitbird verify``: the answers, their exit statuses, and what stands beside them."""

import io
import json
import zipfile
from pathlib import Path

import pytest

from tests.cli.conftest import Pitbird
from tests.vectors.bundles.cases import case_named, check


def on_disk(name: str, folder: Path) -> tuple[Path, str]:
    case = case_named(name)
    path = folder / f"{name}.zip"
    path.write_bytes(case.data)
    return path, f" --key {''.join(case.fingerprint.split())}" if case.fingerprint else ""


@pytest.mark.parametrize(
    ("name", "status", "words"),
    [
        ("good-period", 0, "It holds"),
        ("entry-changed", 1, "It does not hold"),
        ("zip-crc", 2, "Refused"),
        ("good-no-fingerprint", 3, "Consistent in itself only"),
    ],
)
def test_the_exit_status_says_the_answer(
    pitbird: Pitbird, tmp_path: Path, name: str, status: int, words: str
) -> None:
    path, key = on_disk(name, tmp_path)
    done = pitbird(f"verify {path}{key}")
    assert (done.status, done.out.splitlines()[0][: len(words)]) == (status, words)
    as_json = pitbird(f"verify {path}{key} --json")
    assert as_json.status == status
    check(case_named(name), json.loads(as_json.out))


def test_the_entry_that_was_touched_is_named(pitbird: Pitbird, tmp_path: Path) -> None:
    path, key = on_disk("entry-changed", tmp_path)
    done = pitbird(f"verify {path}{key}")
    assert "entries.jsonl: entry 20: not the entry that stands in the book there [leaf]" in done.out


def test_a_folder_of_the_unpacked_files_is_read_as_well(pitbird: Pitbird, tmp_path: Path) -> None:
    path, key = on_disk("good-one-detector", tmp_path)
    folder = tmp_path / "unpacked"
    with zipfile.ZipFile(io.BytesIO(path.read_bytes())) as opened:
        opened.extractall(folder)
    assert pitbird(f"verify {folder}{key}").status == 0
    (folder / "note.txt").write_text("put in")
    done = pitbird(f"verify {folder}{key}")
    assert (done.status, "note.txt: the manifest does not list it" in done.out) == (1, True)
    (folder / "note.txt").unlink()
    (tmp_path / "elsewhere").write_bytes((folder / "key.txt").read_bytes())
    (folder / "key.txt").unlink()
    (folder / "key.txt").symlink_to(tmp_path / "elsewhere")
    assert pitbird(f"verify {folder}{key}").status == 2


def test_the_code_on_a_paper_is_looked_up(pitbird: Pitbird, tmp_path: Path) -> None:
    path, key = on_disk("good-whole", tmp_path)
    (text, says), *_ = case_named("good-whole").papers
    done = pitbird(f"verify {path}{key} --paper '{text}'")
    assert f"{text}: {says}" in done.out


def test_a_file_that_is_not_there_is_named(pitbird: Pitbird, tmp_path: Path) -> None:
    done = pitbird(f"verify {tmp_path}/none.zip")
    assert (done.status, "none.zip: cannot be read" in done.err) == (2, True)


def test_a_fingerprint_that_is_none_is_refused(pitbird: Pitbird, tmp_path: Path) -> None:
    path, _ = on_disk("good-small", tmp_path)
    done = pitbird(f"verify {path} --key 1234")
    assert (done.status, "64 hexadecimal digits" in done.out) == (2, True)
