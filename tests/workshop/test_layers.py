"""The house: rooms import only downward, and the lower rooms are pure."""

import ast
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import grimp
import pytest

import run

PACKAGE = run.ROOT / "src" / "pitbird"
PURE = {"intake", "papers", "rules", "fleet", "calc", "record", "science"}
CONTRACTS: list[dict[str, Any]] = tomllib.loads((run.ROOT / "pyproject.toml").read_text("utf-8"))["tool"][
    "importlinter"
]["contracts"]


def _rooms() -> set[str]:
    return {path.parent.name for path in PACKAGE.glob("*/__init__.py")}


def test_the_contracts_of_the_house_are_kept() -> None:
    lint = Path(sys.executable).with_name("lint-imports")
    ended = subprocess.run(
        [lint, "--no-logo", "--no-cache"], cwd=run.ROOT, capture_output=True, text=True, check=False
    )
    assert ended.returncode == 0, ended.stdout
    assert f"{len(CONTRACTS)} kept, 0 broken" in ended.stdout


def test_the_rooms_stand_in_the_order_of_the_house() -> None:
    order = [line.replace("(", "").replace(")", "") for line in CONTRACTS[0]["layers"]]
    assert order == [
        "app",
        "web | cli",
        "demo",
        "services",
        "store",
        "intake | papers",
        "rules",
        "fleet | calc",
        "record | science",
    ]
    assert CONTRACTS[0]["exhaustive"] is True
    assert CONTRACTS[0]["exhaustive_ignores"] == ["__main__"]


def test_every_pure_room_is_under_the_contract_of_the_pure_rooms() -> None:
    (pure,) = [contract for contract in CONTRACTS if contract["id"] == "pure"]
    listed = set(pure["source_modules"])
    there = {f"pitbird.{room}" for room in _rooms() & PURE}
    assert listed == there, (
        "source_modules of the contract 'pure' in pyproject.toml lists the rooms that exist"
    )


def test_the_record_room_stands_on_the_standard_library_and_cryptography_alone() -> None:
    """So that the verifier can be read, and carried away, on its own."""
    graph = grimp.build_graph("pitbird", include_external_packages=True, cache_dir=None)
    inside = {"pitbird.record"} | graph.find_descendants("pitbird.record")
    outside = {name for module in inside for name in graph.find_modules_directly_imported_by(module)} - inside
    roots = {name.split(".")[0] for name in outside}
    assert len(inside) > 3
    assert roots - set(sys.stdlib_module_names) <= {"cryptography"}


# What reads a clock, draws a random number or asks the machine: the last two parts of its name.
IMPURE = {
    ("datetime", "now"),
    ("datetime", "utcnow"),
    ("datetime", "today"),
    ("date", "today"),
    ("time", "time"),
    ("time", "time_ns"),
    ("time", "monotonic"),
    ("time", "sleep"),
    ("timezone", "now"),
    ("os", "urandom"),
    ("os", "environ"),
    ("os", "getenv"),
    ("uuid", "uuid1"),
    ("uuid", "uuid4"),
    ("uuid6", "uuid7"),
}
IMPURE_MODULES = {
    "random",
    "secrets",
    "socket",
    "urllib.request",
    "http.client",
    "subprocess",
    "sqlite3",
    "django",
}


def impurities(source: str) -> list[str]:
    """Where a module reads a clock, randomness, the environment or the network, as "line: what"."""
    found = []
    for node in ast.walk(ast.parse(source)):
        names: list[str] = []
        if isinstance(node, ast.Attribute) and isinstance(node.value, (ast.Name, ast.Attribute)):
            owner = node.value.id if isinstance(node.value, ast.Name) else node.value.attr
            names = [f"{owner}.{node.attr}"] if (owner, node.attr) in IMPURE else []
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names if _is_impure_module(alias.name)]
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            module = node.module or ""
            pairs = [(module, alias.name) for alias in node.names]
            names = [f"{m}.{n}" for m, n in pairs if (m, n) in IMPURE or _is_impure_module(m)]
        found += [f"{node.lineno}: {name}" for name in names]  # type: ignore[attr-defined]
    return found


def _is_impure_module(name: str) -> bool:
    return any(name == module or name.startswith(module + ".") for module in IMPURE_MODULES)


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("from datetime import UTC, datetime\nx = datetime.now(UTC)", ["2: datetime.now"]),
        ("import datetime as d\nx = d.date.today()", ["2: date.today"]),
        ("import random", ["1: random"]),
        ("from os import urandom", ["1: os.urandom"]),
        ("import django.db.models", ["1: django.db.models"]),
        ("from datetime import datetime\nx = datetime(2026, 1, 1)", []),
        ("from math import sqrt\nnow = sqrt(2)", []),
    ],
)
def test_impurities_are_found_where_they_are(source: str, found: list[str]) -> None:
    assert impurities(source) == found


@pytest.mark.parametrize("room", sorted(_rooms() & PURE))
def test_a_pure_room_reads_no_clock_and_no_randomness(room: str) -> None:
    found = {
        str(path.relative_to(PACKAGE)): faults
        for path in sorted((PACKAGE / room).rglob("*.py"))
        if (faults := impurities(path.read_text("utf-8")))
    }
    assert found == {}
