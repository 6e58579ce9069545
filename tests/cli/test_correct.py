"""Entries are corrected on the command line: voided or replaced, and what differs is told."""

from collections.abc import Callable
from pathlib import Path

from tests.cli.conftest import PASSES, Pitbird


def newest(kind: str) -> int:
    """Where the newest entry of a kind stands."""
    from pitbird.store import book

    return next(row.index for row in book.newest(9) if row.kind == kind)


def test_a_test_of_the_wrong_detector_is_voided_and_the_gate_told(begun: Pitbird) -> None:
    assert "MAY GO OUT" in begun(PASSES).out
    done = begun(f"correct {newest('bump-test')} --void --reason 'Another detector was in the hood'")
    assert done.status == 0, done.err
    assert "voided by entry" in done.out
    assert "The gate now: D-017 NOT YET" in done.out


def test_fields_are_replaced_and_what_differs_is_told(begun: Pitbird, tmp_path: Path) -> None:
    begun("write", '{"kind": "happened", "detector": "detector:D-017", "what": "water", "note": "In a pit."}')
    index = newest("happened")
    file = tmp_path / "instead.json"
    file.write_text('{"what": "drop", "note": "From a ladder."}')
    done = begun(f"correct {index} --replace {file} --reason 'It was dry'")
    assert done.status == 0, done.err
    assert "  what: drop; before: water" in done.out
    assert "  note: another text; before: another text" in done.out
    assert "Ladder" not in begun(f"book show {index}").out
    # A second correction begins from what counts by then, and can take a field away.
    file.write_text('{"note": null}')
    assert "note: nothing" in begun(f"correct {index} --replace {file} --reason Needless").out
    assert "From a ladder" in begun(f"book show {newest('correction') - 1}").out


def test_an_entry_is_moved_to_another_detector(begun: Pitbird, tmp_path: Path) -> None:
    import json

    from pitbird.services.clock import now
    from pitbird.services.gate import gate_one
    from tests.cli.conftest import THINGS

    other = {**THINGS[1], "detector": "detector:D-018", "serial": "Q-2"}
    assert begun("write", json.dumps(other)).status == 0
    begun("write", '{"kind": "happened", "detector": "detector:D-017", "what": "drop"}')
    file = tmp_path / "instead.json"
    file.write_text('{"detector": "detector:D-018"}')
    done = begun(f"correct {newest('happened')} --replace {file} --reason 'Wrong label read'")
    assert "detector: detector:D-018; before: detector:D-017" in done.out
    assert "D-017 " in done.out
    assert "D-018 " in done.out
    assert gate_one("detector:D-017", now=now()).state.events[0].what == "calibration"
    assert gate_one("detector:D-018", now=now()).state.events[0].what == "drop"


def test_everything_wrong_is_told_at_once_and_nothing_written(
    begun: Pitbird, tmp_path: Path, size: Callable[[], int]
) -> None:
    before = size()
    refused = begun("correct 9999 --reason x --by P-07")
    assert refused.status == 2
    assert [line.partition(":")[0] for line in refused.faults] == ["entry", "by", "how"]
    file = tmp_path / "instead.json"
    for text, said in (("[1]", "not one JSON object"), ('{"what": 1, "what": 2}', "what"), ("{", "JSON")):
        file.write_text(text)
        assert said in begun(f"correct 3 --replace {file} --reason x").err
    file.write_text('{"levity": "much"}')
    assert "replacement.levity" in begun(f"correct 3 --replace {file} --reason x").err
    assert size() == before
