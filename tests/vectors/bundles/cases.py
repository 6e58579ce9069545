"""The cases of this folder, for every verifier's tests: what each is, and how an answer is held to it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from tests.vectors.bundles.make import make

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Case:
    """One bundle, what an auditor gives beside it, and what is to be answered (see make.py)."""

    name: str
    what: str
    data: bytes
    fingerprint: str | None
    known: bytes | None
    papers: tuple[tuple[str, str], ...]
    answer: str
    faults: frozenset[tuple[str, int | None]]
    files: frozenset[tuple[str, str | None]]
    may: frozenset[str]
    report: Mapping[str, Any] | None

    def __str__(self) -> str:
        return self.name


@lru_cache(maxsize=1)
def generated() -> dict[str, bytes]:
    """All files as the generator makes them now."""
    return make().files


@lru_cache(maxsize=1)
def cases() -> tuple[Case, ...]:
    """All cases, good and forged, in the order of cases.json."""
    return tuple(_case(value) for value in json.loads((HERE / "cases.json").read_bytes()))


def good_cases() -> tuple[Case, ...]:
    """The cases in which nothing is wrong with the bundle."""
    return tuple(case for case in cases() if not case.faults)


def case_named(name: str) -> Case:
    """The case of that name."""
    return next(case for case in cases() if case.name == name)


def check(case: Case, told: Mapping[str, Any]) -> None:
    """Hold what a verifier told (the object of --json) against what the case wants of it.

    The answer must be that one; every fault of the case must be told with its code and index, and with its
    file where the code does not say it; others only with a code that the case allows.
    """
    faults = told["faults"]
    assert told["answer"] == case.answer, f"{case.name} ({case.what}): {told['answer']}, {faults}"
    found = {(fault["code"], fault["index"]) for fault in faults}
    assert case.faults <= found, f"{case.name} ({case.what}): {faults} lacks {case.faults - found}"
    beyond = {(code, index) for code, index in found - case.faults if code not in case.may}
    assert not beyond, f"{case.name} ({case.what}): {beyond} told besides"
    places = {(fault["code"], fault["file"]) for fault in faults}
    wanted = {place for place in case.files if place[0] in ("file", "unlisted", "absent", "missing", "keys")}
    assert wanted <= places, f"{case.name} ({case.what}): {places} lacks {wanted}"
    for key, value in (case.report or {}).items():
        assert told[key] == value, f"{case.name} ({case.what}): {key} is {told[key]!r}, not {value!r}"


def _case(value: dict[str, Any]) -> Case:
    path = HERE / value["file"]
    data = path.read_bytes() if path.exists() else generated()[value["file"]]
    return Case(
        name=value["name"],
        what=value["what"],
        data=data,
        fingerprint=value["fingerprint"],
        known=None if value["known"] is None else (HERE / value["known"]).read_bytes(),
        papers=tuple((paper["text"], paper["says"]) for paper in value["papers"]),
        answer=value["answer"],
        faults=frozenset((code, index) for code, _, index in value["faults"]),
        files=frozenset((code, file) for code, file, _ in value["faults"]),
        may=frozenset(value["may"]),
        report=value.get("report"),
    )
