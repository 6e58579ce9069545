"""The vectors themselves: kept as they were made, and made the same again."""

import ast
import io
import json
import sys
import zipfile
from collections import Counter
from hashlib import sha256

import pytest

from tests.vectors.bundles.cases import HERE, cases, generated
from tests.vectors.bundles.make import kept

LISTED = json.loads((HERE / "cases.json").read_bytes())


def contents(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as opened:
        return {item.filename: opened.read(item) for item in opened.infolist()}


def test_the_kept_files_are_what_the_generator_makes() -> None:
    wanted = kept(generated())
    there = {
        path.relative_to(HERE).as_posix(): path.read_bytes()
        for pattern in ("*.zip", "known/*.note", "cases.json")
        for path in HERE.glob(pattern)
    }
    assert there.keys() == wanted.keys()
    for name, data in there.items():
        if name == "good-deflated.zip":
            assert contents(data) == contents(wanted[name])
        else:
            assert data == wanted[name], name


@pytest.mark.parametrize("listed", LISTED, ids=lambda listed: str(listed["name"]))
def test_every_bundle_has_the_digest_that_it_was_listed_with(listed: dict[str, str | None]) -> None:
    made = generated()[str(listed["file"])]
    assert listed["sha256"] in (None, sha256(made).hexdigest())
    assert (listed["sha256"] is None) == (listed["name"] == "good-deflated")


def test_no_two_cases_are_the_same() -> None:
    asked = Counter((case.data, case.fingerprint, case.known) for case in cases())
    assert set(asked.values()) == {1}
    assert set(Counter(case.name for case in cases()).values()) == {1}


def test_every_fault_that_the_form_names_has_a_forged_bundle() -> None:
    told = {code for case in cases() for code, _ in case.faults}
    text = (HERE.parents[2] / "docs" / "bundle.md").read_text(encoding="utf-8")
    rows = [row for row in text.split("## What a verifier answers")[1].splitlines() if row.startswith("| `")]
    named = {row.split("`")[1] for row in rows} - {
        "holds",
        "consistent in itself",
        "does not hold",
        "refused",
    }
    assert len(named) == 21
    assert told == named


def test_the_generator_is_a_second_hand() -> None:
    """It imports nothing of pitbird's: a mistake there is not made again here."""
    paths = [HERE / name for name in ("book.py", "make.py", "zips.py")] + sorted(HERE.glob("forging/*.py"))
    assert len(paths) == 12
    for path in paths:
        tree = ast.parse(path.read_text(encoding="utf-8"))
        modules = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
        modules |= {a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names}
        outside = {module for module in modules if module.split(".")[0] not in sys.stdlib_module_names}
        assert all(module.startswith(("cryptography", "tests.vectors.bundles")) for module in outside), (
            outside
        )


def test_the_good_bundles_are_read_by_the_standard_library_too() -> None:
    for case in cases():
        if not case.faults:
            assert "MANIFEST.note" in contents(case.data)
