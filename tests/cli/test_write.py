"""Entries from JSON: every fault of every entry with its line, all of them or none."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from pitbird.cli.write import read_drafts
from tests.cli.conftest import Pitbird

NOTE = {"kind": "note", "subject": "detector:D-017", "text": "Clip is loose."}
SITE = {"kind": "site", "site": "site:south", "name": "South", "site_zone": "Europe/Lisbon"}
AT_SITE = {"kind": "note", "subject": "site:south", "text": "New store."}


def test_many_entries_are_written_in_their_order(begun: Pitbird, size: Callable[[], int]) -> None:
    before = size()
    done = begun("write -", "\n".join(map(json.dumps, [SITE, AT_SITE, NOTE])))
    assert done.status == 0, done.err
    assert [line.split()[0] for line in done.out.splitlines()] == [
        str(before),
        str(before + 1),
        str(before + 2),
    ]
    assert [line.split()[2] for line in done.out.splitlines()] == ["site", "note", "note"]


def test_a_later_entry_brings_nothing_to_an_earlier_one(begun: Pitbird, size: Callable[[], int]) -> None:
    before = size()
    refused = begun("write -", "\n".join(map(json.dumps, [AT_SITE, SITE])))
    assert refused.status == 2
    assert "line 1: note.subject = 'site:south'" in refused.err
    assert size() == before


@pytest.mark.parametrize(
    "text", [json.dumps([NOTE, AT_SITE | SITE]), json.dumps(NOTE, indent=2), json.dumps([NOTE], indent=1)]
)
def test_an_array_and_objects_over_several_lines_are_read(text: str) -> None:
    drafts, faults = read_drafts(text)
    assert faults == []
    assert drafts[0] == (text.count("\n", 0, text.index("{")) + 1, NOTE)


def test_every_fault_of_every_entry_is_named_with_its_line_and_nothing_is_written(
    begun: Pitbird, size: Callable[[], int]
) -> None:
    before = size()
    refused = begun(
        "write -",
        '{"kind": "note", "subject": "detector:D-017", "text": "fine"}\n'
        '{"kind": "note", "subject": "detector:D-071", "text": "x", "at": "2090-01-01T00:00:00Z"}\n'
        '{"kind": "gauge-read", "cylinder": "cylinder:C-112", "gauge_bar": 41.5, "colour": "red"}\n'
        '{"kind": "note", "subject": "detector:D-017", "text": "a", "text": "b"}\n'
        '{"kind": "happening"}\n'
        '{"kind": \n',
    )
    assert (refused.status, refused.out) == (2, "")
    said = [line.split(": ")[:2] for line in refused.faults]
    assert ["line 2", "note.subject = 'detector"] in [[a, b.split(":")[0]] for a, b in said]
    assert any(line.startswith("line 2: note.at") and "lies in the future" in line for line in refused.faults)
    assert "did you mean detector:D-017?" in refused.err
    assert any(line.startswith("line 3: gauge-read.gauge_bar") for line in refused.faults)
    assert any(line.startswith("line 3: gauge-read.colour") for line in refused.faults)
    assert any(line.startswith("line 4: ") and "'text' stands twice" in line for line in refused.faults)
    assert any(line.startswith("line 5: entry.kind") for line in refused.faults)
    assert any(line.startswith("line 6: entry: not JSON") for line in refused.faults)
    assert size() == before


def test_what_a_refused_entry_would_bring_is_not_missed_a_second_time(begun: Pitbird) -> None:
    wrong = {**SITE, "site_zone": "Mars/Base"}
    refused = begun("write -", "\n".join(map(json.dumps, [wrong, AT_SITE])))
    assert len(refused.faults) == 1
    assert refused.faults[0].startswith("line 1: site.site_zone")


def test_the_same_entry_twice_is_written_once(begun: Pitbird, size: Callable[[], int]) -> None:
    draft = json.dumps({**NOTE, "id": "0195a000-0000-7000-8000-0000000000aa", "at": "2026-01-01T10:00:00Z"})
    assert begun("write -", draft).status == 0
    once = size()
    again = begun("write -", f"{draft}\n{draft}")
    assert again.status == 0, again.err
    assert again.out.count("(stood there already)") == 2
    assert size() == once


def test_the_same_id_with_other_contents_is_refused(begun: Pitbird, size: Callable[[], int]) -> None:
    draft = {**NOTE, "id": "0195a000-0000-7000-8000-0000000000aa", "at": "2026-01-01T10:00:00Z"}
    begun("write -", json.dumps(draft))
    once = size()
    refused = begun("write -", json.dumps(draft | {"subject": "site:north-works"}))
    assert refused.status == 2
    assert "with other contents" in refused.err
    assert size() == once


@pytest.mark.parametrize("text", ["", "[]", " \n "])
def test_nothing_to_write_is_said(begun: Pitbird, text: str) -> None:
    refused = begun("write -", text)
    assert refused.status == 2
    assert "no entries" in refused.err


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[{"kind": "note"}', "has no end"),
        ('[{"kind": "note"}] {}', "more after the end"),
        ("[1, 2]", "not an entry"),
    ],
)
def test_a_broken_array_is_named(text: str, says: str) -> None:
    _, faults = read_drafts(text)
    assert any(says in fault.problem for fault in faults)


def test_a_file_that_is_not_there_is_named(begun: Pitbird, tmp_path: Path) -> None:
    refused = begun(f"write {tmp_path / 'nothing.jsonl'}")
    assert refused.status == 2
    assert refused.faults == [f"{tmp_path / 'nothing.jsonl'}: No such file or directory"]


def test_a_file_that_is_not_utf_8_is_refused(begun: Pitbird, tmp_path: Path) -> None:
    (tmp_path / "old.jsonl").write_bytes('{"kind": "note", "text": "Tomé"}'.encode("latin-1"))
    refused = begun(f"write {tmp_path / 'old.jsonl'}")
    assert refused.status == 2
    assert "UTF-8" in refused.err
