"""Bump tests on the command line: what must be said, what comes of it, and nothing written after a fault."""

import contextlib
import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from pitbird.cli import asking
from pitbird.fleet.times import MINUTE, Ms, text_of
from pitbird.services import clock
from tests.cli.conftest import BEGIN, PASSES, THINGS, Pitbird


def last_body() -> dict[str, Any]:
    from pitbird.store import book

    row = book.at_index(book.head().size - 1)
    assert row is not None
    body: dict[str, Any] = json.loads(row.leaf)["body"]
    return body


def test_a_test_where_everything_came_is_passed(begun: Pitbird) -> None:
    done = begun(PASSES)
    assert done.status == 0, done.err
    assert done.out.startswith("PASSED: D-017")
    assert "The gate now: D-017 MAY GO OUT until " in done.out
    body = last_body()
    assert body["outcome"] == "passed"
    assert body["by"] == "person:P-07"
    (application,) = body["applications"]
    assert application["gauge_bar"] == "41"
    assert [each["reached"] for each in application["channels"]] == ["yes", "yes"]


def test_a_channel_that_did_not_reach_is_a_fail_and_is_said_plainly(begun: Pitbird) -> None:
    done = begun(PASSES.replace("--reached all", "--reached CO --not-reached H2S"))
    assert done.status == 1
    assert "FAILED: D-017: H2S did not reach" in done.out
    assert "Do not use D-017, and do not start the work that needs it." in done.out
    assert "The gate now: D-017 OUT OF SERVICE" in done.out
    assert last_body()["outcome"] == "failed"


def test_a_silent_horn_is_a_fail_even_if_the_hood_slipped(begun: Pitbird) -> None:
    done = begun(PASSES.replace("--sound yes", "--sound no") + " --spoiled hood-slipped")
    assert done.status == 1
    assert "FAILED" in done.out
    assert last_body()["outcome"] == "failed"


def test_a_spoiled_attempt_may_leave_out_what_was_not_seen(begun: Pitbird) -> None:
    done = begun("test D-017 --spoiled broken-off --by P-07")
    assert done.status == 1
    assert "SPOILED" in done.out
    assert last_body()["spoiled_because"] == "broken-off"


def test_a_wrong_reading_in_clean_air_is_a_fail(begun: Pitbird) -> None:
    done = begun(PASSES.replace("H2S=0", "H2S=7"))
    assert done.status == 1
    assert "H2S read wrong in clean air" in done.out


def test_what_a_script_does_not_say_is_refused_not_guessed(begun: Pitbird, size: Callable[[], int]) -> None:
    before = size()
    refused = begun("test D-017 --by P-07")
    assert (refused.status, refused.out) == (2, "")
    named = {line.partition(":")[0] for line in refused.faults}
    assert named == {"check", "clean-air", "cylinder", "reached", "sound", "light", "vibration", "cleared"}
    assert "in use at north-works: C-112" in refused.err
    assert size() == before


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("--sound yes", ""), "sound: not said"),
        (("--gas-seconds 40", ""), "gas-seconds: not said"),
        (("--gas-seconds 40", "--gas-seconds 0"), "gas-seconds: 0 seconds"),
        (("--reached all", "--reached H2S"), "reached: CO is not said"),
        (("--reached all", "--reached all --not-reached CO"), "CO stands both in"),
        (("--clean-air CO=1", "--clean-air C=1"), "has no channel 'C'"),
        (("--cylinder C-112", "--cylinder C-121"), "did you mean C-112?"),
        (("--gauge 41", "--gauge 4,1"), "gauge: '4,1' is not a decimal"),
        (("--all-checks-well", "--all-checks-well --check battery=no"), "contradicts --all-checks-well"),
        (("--cleared yes", "--cleared maybe"), "cleared: 'maybe'"),
        (("--by P-07", "--by P-70"), "the book knows no person 'P-70'"),
        (("--cylinder C-112 ", "--apply C-112:CO:20 "), "no gas for H2S"),
        (("--cylinder C-112 ", ""), "an answer for H2S, but no gas for it"),
    ],
)
def test_a_fault_is_named_and_nothing_is_written(
    begun: Pitbird, size: Callable[[], int], change: tuple[str, str], says: str
) -> None:
    before = size()
    refused = begun(PASSES.replace(*change))
    assert (refused.status, refused.out) == (2, "")
    assert says in refused.err
    assert size() == before


def test_two_faults_are_both_named(begun: Pitbird) -> None:
    refused = begun(PASSES.replace("D-017", "D-071", 1).replace("--gauge 41", "--gauge full"))
    assert refused.status == 2
    assert any("did you mean D-017?" in line for line in refused.faults)
    assert any(line.startswith("gauge: 'full'") for line in refused.faults)


def test_gas_in_the_future_is_refused(begun: Pitbird, size: Callable[[], int]) -> None:
    before = size()
    refused = begun(PASSES + " --gas-on 2090-01-01T06:00")
    assert (refused.status, refused.out) == (2, "")
    assert "gas-on: '2090-01-01T06:00' lies in the future" in refused.err
    assert size() == before


def test_a_no_without_its_gas_is_not_lost(begun: Pitbird, size: Callable[[], int]) -> None:
    before = size()
    refused = begun("test D-017 --not-reached H2S --spoiled other --by P-07")
    assert refused.status == 2
    assert "an answer for H2S, but no gas for it" in refused.err
    assert size() == before


def test_two_cylinders_follow_one_another(begun: Pitbird) -> None:
    line = PASSES.replace("--cylinder C-112 ", "--apply C-112:H2S:40 --apply C-112:CO:30 ")
    done = begun(line + " --gas-on 2026-01-05T06:00:00Z")
    assert done.status == 0, done.err
    first, second = last_body()["applications"]
    assert first["gas_on"] == "2026-01-05T06:00:00.000Z"
    assert first["gas_off"] == second["gas_on"] == "2026-01-05T06:00:40.000Z"
    assert second["gas_off"] == last_body()["at"] == "2026-01-05T06:01:10.000Z"
    assert [each["channel"] for each in first["channels"]] == ["H2S"]


def test_the_only_keeper_writes_where_nobody_is_named_and_it_is_said(begun: Pitbird) -> None:
    done = begun(PASSES.replace(" --by P-07", ""))
    assert "Written by K-1, the only keeper" in done.err
    assert last_body()["by"] == "person:K-1"


def test_the_writer_may_come_from_the_environment(begun: Pitbird, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PITBIRD_BY", "P-07")
    assert begun(PASSES.replace(" --by P-07", "")).status == 0
    assert last_body()["by"] == "person:P-07"


# Asked step by step: checks, readings, cylinder, gauge, gas on, gas off, alarms, signals, cleared.
ANSWERS = "y\n0\n1\nC-112\n41\n\n\n{h2s}\n{co}\n{spoiled}y\ny\ny\ny\ny\n"


@pytest.fixture
def at_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(asking, "interactive", lambda: True)


@pytest.mark.usefixtures("at_a_terminal")
def test_in_a_terminal_a_test_is_asked_step_by_step(begun: Pitbird) -> None:
    done = begun("test D-017 --by P-07", ANSWERS.format(h2s="y", co="y", spoiled=""))
    assert "Gas was on for" in done.out
    assert "Work in clean air" in done.out
    body = last_body()
    assert body["kind"] == "bump-test"
    assert body["applications"][0]["cylinder"] == "cylinder:C-112"
    # Enter came at once, so hardly any gas was on; the answers were all yes.
    assert body["outcome"] in ("passed", "spoiled")


@pytest.mark.usefixtures("at_a_terminal")
def test_in_a_terminal_a_no_without_excuse_is_a_fail(begun: Pitbird) -> None:
    answers = "y\n0\n1\n\n41\n\n\nn\ny\ny\ny\ny\ny\ny\n\n"
    done = begun("test D-017 --by P-07", answers)
    assert "FAILED: D-017: H2S did not reach" in done.out, done.out
    assert done.status == 1


@pytest.mark.usefixtures("at_a_terminal")
def test_breaking_off_writes_nothing(begun: Pitbird, size: Callable[[], int]) -> None:
    before = size()
    done = begun("test D-017 --by P-07", "y\n0\n")
    assert done.status != 0
    assert size() == before


@pytest.mark.slow
@pytest.mark.skipif(os.name != "posix", reason="a pseudo-terminal is needed")
def test_at_a_real_terminal_the_seconds_run_while_gas_is_on(program: Pitbird, tmp_path: Path) -> None:
    import pty

    assert program(BEGIN).status == 0
    assert program("write -", "\n".join(map(json.dumps, THINGS))).status == 0
    ours, theirs = pty.openpty()
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith(("PITBIRD_", "DJANGO_"))
    }
    environment["PITBIRD_HOME"] = str(tmp_path / "home")
    running = subprocess.Popen(
        [sys.executable, "-m", "pitbird", "test", "D-017", "--by", "P-07"],
        stdin=theirs, stdout=theirs, stderr=theirs, env=environment,
    )  # fmt: skip
    os.close(theirs)
    shown = ""

    def read_until(words: str) -> None:
        nonlocal shown
        end = time.monotonic() + 30
        while words not in shown:
            ready, _, _ = select.select([ours], [], [], end - time.monotonic())
            assert ready, shown
            shown += os.read(ours, 4096).decode()

    def answer(question: str, with_: str) -> None:
        nonlocal shown
        read_until(question)
        shown = shown[shown.index(question) + len(question) :]
        os.write(ours, f"{with_}\n".encode())

    try:
        answer("as it should be? [y/n]", "y")
        answer("H2S in clean air", "0")
        answer("CO in clean air", "0")
        answer("Cylinder [C-112]", "")
        answer("gauge in bar", "41")
        answer("Press Enter when the gas is on.", "")
        read_until("  1 s")
        answer("  1 s", "")
        answer("H2S high alarm at 10 ppm: did it come?", "y")
        answer("CO high alarm at 60 ppm: did it come?", "y")
        for question in ("sound?", "flash?", "shake?", "back to clean air?", "cleared?"):
            answer(question, "y")
        read_until("The gate now: D-017 MAY GO OUT until ")
        assert "PASSED: D-017" in shown
    finally:
        if "The gate now" not in shown:
            running.terminate()
        with contextlib.suppress(OSError):
            while os.read(ours, 4096):
                pass
        running.wait(timeout=30)
        os.close(ours)
    assert running.returncode == 0


def test_a_detector_held_for_an_investigation_is_not_tested_unless_it_is_said_why(
    begun: Pitbird, size: Callable[[], int]
) -> None:
    from pitbird.services import people

    refused = begun(f"{PASSES} --although-held curiosity")
    assert refused.faults == ["although-held: D-017 is not held for an investigation; leave it out"]
    begun("write -", '{"kind": "out-of-service", "detector": "detector:D-017", "because": "incident"}')
    before = size()
    refused = begun(PASSES)
    assert (refused.status, refused.out) == (2, "")
    assert refused.faults[0].startswith("detector: D-017 is held for an investigation since ")
    assert "do not test, zero, charge or repair it" in refused.err
    assert begun(f"{PASSES} --although-held ''").status == 2
    assert size() == before
    done = begun(f"{PASSES} --although-held 'Asked for by the inspector' --note 'In the workshop'")
    assert size() == before + 1, done.err
    assert "D-017 OUT OF SERVICE. HELD FOR AN INVESTIGATION: do not test, zero or charge it." in done.out
    note = last_body()["note"]
    assert people.texts([note])[note] == (
        "In the workshop; although held for an investigation: Asked for by the inspector"
    )


def test_a_test_is_entered_from_a_paper_slip_with_the_tester_and_the_time_on_it(begun: Pitbird) -> None:
    gas_on = text_of(Ms(clock.now() - 90 * MINUTE))
    entered = begun(f"{PASSES} --slip S-0412 --countersigned K-1 --gas-on {gas_on}")
    assert entered.status == 0, entered.err
    body = last_body()
    assert body["slip"] == {"number": "S-0412", "countersigned_by": "person:K-1"}
    assert (body["by"], body["applications"][0]["gas_on"]) == ("person:P-07", gas_on)


def test_a_slip_tells_who_entered_it_where_that_is_not_the_tester(
    begun: Pitbird, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PITBIRD_BY", "K-1")
    entered = begun(f"{PASSES} --slip S-0412 --gas-on {text_of(Ms(clock.now() - 90 * MINUTE))}")
    assert entered.status == 0, entered.err
    assert last_body()["slip"] == {"number": "S-0412", "entered_by": "person:K-1"}


def test_a_slip_without_its_tester_or_its_time_is_refused(
    begun: Pitbird, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PITBIRD_BY", "P-07")
    refused = begun(f"{PASSES.replace(' --by P-07', '')} --slip S-0412 --countersigned Nobody")
    assert refused.status == 2
    assert [each.partition(":")[0] for each in refused.faults] == ["by", "gas-on", "countersigned"]
    alone = begun(f"{PASSES} --countersigned K-1")
    assert alone.faults == ["countersigned: stands with --slip only"]
    assert last_body()["kind"] != "bump-test"
