"""The lock files: everything pinned and hashed, nothing said about where packages are fetched from."""

import re
import tomllib

import pytest

import run

LOCKS = sorted(run.LOCKS)


def _entries(kind: str) -> dict[str, str]:
    """Name of each locked package and the text of its entry."""
    text = run.LOCKS[kind].read_text("utf-8").replace("\\\n", " ")
    entries: dict[str, str] = {}
    for line in text.splitlines():
        if line and not line.lstrip().startswith("#"):
            name = re.split(r"[=<>!~\[; ]", line.strip(), maxsplit=1)[0]
            entries[name] = line
    return entries


@pytest.mark.parametrize("kind", LOCKS)
def test_every_locked_package_has_one_version_and_a_hash(kind: str) -> None:
    entries = _entries(kind)
    assert len(entries) > 10
    for name, entry in entries.items():
        assert re.match(rf"{re.escape(name)}==[0-9][^ ;]*", entry), entry
        assert re.search(r"--hash=sha256:[0-9a-f]{64}", entry), f"{name} has no hash"


@pytest.mark.parametrize("kind", LOCKS)
def test_no_lock_names_a_place_to_fetch_from(kind: str) -> None:
    text = run.LOCKS[kind].read_text("utf-8")
    assert "://" not in text
    assert not re.search(r"(?m)^\s*(-i|-f|--index|--extra-index|--find-links|--trusted-host)", text)


def test_what_runs_is_what_was_tested() -> None:
    runtime, dev = _entries("runtime"), _entries("dev")
    assert {name: dev.get(name) for name in runtime} == runtime


def test_the_names_that_run_py_reads_are_the_names_in_the_lock() -> None:
    for kind, path in run.LOCKS.items():
        assert sorted(run.locked_names(path.read_text("utf-8"))) == sorted(_entries(kind))


def test_every_requirement_of_the_project_is_locked() -> None:
    project = tomllib.loads((run.ROOT / "pyproject.toml").read_text("utf-8"))
    groups = project["dependency-groups"]
    runtime = project["project"]["dependencies"] + groups["build"] + project["build-system"]["requires"]
    dev = [line for line in groups["dev"] if isinstance(line, str)]
    dev += [line for extra in project["project"]["optional-dependencies"].values() for line in extra]
    for kind, lines in (("runtime", runtime), ("dev", runtime + dev)):
        named = {re.split(r"[^A-Za-z0-9._-]", line, maxsplit=1)[0].lower() for line in lines}
        assert named <= set(_entries(kind))
