"""What arrives late is folded from the last fold point before it, and gives what folding all anew gives."""

from __future__ import annotations

from random import Random
from typing import Any

import pytest

from pitbird.fleet.folding import fold
from pitbird.fleet.times import DAY, MINUTE, Ms, ms_of, text_of
from pitbird.services import refolding
from pitbird.services.appending import append
from pitbird.services.knowing import Now, Then
from pitbird.services.refolding import entries_about, refold
from pitbird.store import book
from pitbird.store.models import FoldPoint
from tests.bodies import CHANNELS, at, body, bump, detector, ms

pytestmark = pytest.mark.django_db
D, C = "detector:D-017", "cylinder:C-112"
START = ms("06:00")


@pytest.fixture(autouse=True)
def _a_point_after_every_four_entries(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(refolding, "POINT_EVERY", 4)
    monkeypatch.setattr("pitbird.services.appending.POINT_EVERY", 4)
    append(body("genesis"), recorded_at=ms("05:00"))
    append(detector(), recorded_at=ms("05:01"))
    append(body("cylinder", at("05:00")), recorded_at=ms("05:02"))


def anew(subject: str) -> Any:
    """The state folded from every entry, points left aside."""
    return fold(subject, entries_about(subject))


def a_test(minute: int, **fields: Any) -> dict[str, Any]:
    return bump(text_of(Ms(START + minute * MINUTE)), **fields)


def test_points_are_kept_and_a_late_entry_is_folded_from_the_one_before_it() -> None:
    for minute in range(0, 40, 2):
        append(a_test(minute), recorded_at=Ms(START + minute * MINUTE))
    before = FoldPoint.objects.filter(subject=D).count()
    assert before >= 4
    append(a_test(31, missed="CO"), recorded_at=Ms(START + 60 * MINUTE))
    assert Now().state(D) == anew(D)
    kept = FoldPoint.objects.filter(subject=D, at__gte=START + 31 * MINUTE)
    assert all('"test-failed"' in point.state for point in kept), "no point forgot the late fail"
    assert FoldPoint.objects.filter(subject=D, at__lt=START + 31 * MINUTE).exists()


def test_a_late_test_is_in_the_cylinders_later_points_too() -> None:
    for minute in range(0, 40, 2):
        append(a_test(minute), recorded_at=Ms(START + minute * MINUTE))
    append(a_test(5), recorded_at=Ms(START + 60 * MINUTE))
    append(body("gauge-read", text_of(Ms(START + 7 * MINUTE))), recorded_at=Ms(START + 61 * MINUTE))
    append(body("cylinder-emptied", text_of(Ms(START + 9 * MINUTE))), recorded_at=Ms(START + 62 * MINUTE))
    assert Now().state(C) == anew(C)


def test_the_past_is_folded_from_a_point_too() -> None:
    for minute in range(0, 40, 2):
        append(a_test(minute), recorded_at=Ms(START + minute * MINUTE))
    then = Ms(START + 21 * MINUTE)
    assert Then(until=then).state(D) is not None
    with_points = refold(D, until=then)
    from_all = fold(D, entries_about(D), until=then)
    assert getattr(with_points, "tests") == getattr(from_all, "tests")  # noqa: B009


ACTS = (
    "pass",
    "fail",
    "late",
    "drop",
    "void",
    "replace",
    "move-time",
    "future",
    "gauge",
    "out",
    "changed",
    "fitted",
    "described",
)


def act(name: str, random: Random, now: Ms, written: list[dict[str, Any]]) -> dict[str, Any]:
    """A body for one random act at a moment; corrections pick what was written before."""
    when = text_of(now)
    early = text_of(Ms(now - random.randrange(1, 30) * 5 * MINUTE))
    if name in {"void", "replace", "move-time"} and written:
        original = random.choice(written)
        fields: dict[str, Any] = {"corrects": original["id"], "of_about": original["about"]}
        if name == "void":
            return body("correction", when, how="void", **fields)
        shift = random.randrange(-20, 20) * MINUTE if name == "move-time" else 0
        moved = {**original, "at": text_of(Ms(ms_of(original["at"]) + shift))}
        return body("correction", when, how="replace", replacement=moved, **fields)
    if name == "fail":
        return bump(when, missed="CO")
    if name == "late":
        return bump(early, missed=random.choice([None, "H2S"]))
    if name == "drop":
        return body("happened", random.choice([when, early]))
    if name == "future":
        return bump(text_of(Ms(now + DAY)), missed=random.choice([None, "H2S"]))
    if name == "changed":
        named = random.choice([[], ["CO"], ["CO", "H2S"]])
        return body("happened", random.choice([when, early]), what="sensor-changed", channels=named)
    if name == "fitted":
        return body("sensor", random.choice([when, early]), channel=random.choice([None, "CO", "H2S"]))
    if name == "described":
        day = random.choice(["2025-03-02", "2026-01-04", "2026-03-02"])
        channels = [{**channel, "sensor_fitted": day} for channel in CHANNELS]
        return detector(random.choice([when, early]), channels=channels, serial=random.choice("AB"))
    if name == "gauge":
        return body("gauge-read", random.choice([when, early]))
    if name == "out":
        return body("handed-out", random.choice([when, early]), from_store=random.choice([True, False]))
    return bump(when)


@pytest.mark.parametrize("seed", range(12))
def test_any_history_gives_what_folding_all_anew_gives(seed: int) -> None:
    """Late, doubled clocks, corrected, voided, moved in time: one state, however it came about."""
    random = Random(seed)
    written: list[dict[str, Any]] = []
    for step in range(60):
        now = Ms(START + step * 5 * MINUTE)
        made = act(random.choice(ACTS), random, now, written)
        append(made, recorded_at=now)
        if made["kind"] != "correction":
            written.append(made)
        for subject in (D, C):
            assert Now().state(subject) == anew(subject), f"seed {seed}, step {step}, {made['kind']}"
    assert book.head().size == 63
