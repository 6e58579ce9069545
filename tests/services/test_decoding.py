"""A state read by its parts equals the state read whole, and equal parts are one value."""

from __future__ import annotations

from random import Random
from typing import Any

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.fleet.folding import state_type
from pitbird.fleet.state import DetectorState
from pitbird.services import decoding
from pitbird.services.decoding import decode_detector, decode_state, encode_state
from pitbird.services.writing import Actor, write
from pitbird.store.models import Standing
from tests.bodies import at, bump, ms
from tests.histories import random_act, run


# Oracle: msgspec decoding the struct itself, without anything of ours.
def whole(subject: str, text: str) -> Any:
    """The state decoded in one go."""
    return msgspec.json.decode(text, type=state_type(subject))


@pytest.mark.django_db
@given(seed=st.integers(0, 2**32))
def test_states_of_random_histories_read_by_parts_equal_states_read_whole(seed: int) -> None:
    from django.db import transaction

    random = Random(seed)
    with transaction.atomic():
        run([random_act(random) for _ in range(8)])
        stored = list(Standing.objects.values_list("subject", "state"))
        transaction.set_rollback(True)
    assert any(subject.startswith("detector:") for subject, _ in stored)
    for subject, text in stored:
        state = decode_state(subject, text)
        assert state == whole(subject, text)
        assert type(state) is type(whole(subject, text))
        assert encode_state(state) == text


def test_fields_left_out_are_their_defaults() -> None:
    text = '{"subject":"detector:D-1"}'
    assert decode_detector(text) == DetectorState(subject="detector:D-1") == whole("detector:D-1", text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{}",
        '{"subject":"detector:D-1","signals":[1]}',
        '{"subject":"detector:D-1","channels":[{"name":"CO"}]}',
        '{"subject":"detector:D-1","tests":[{"entry":"x"}]}',
    ],
)
def test_what_is_no_state_is_refused_as_when_read_whole(text: str) -> None:
    with pytest.raises(msgspec.DecodeError):
        whole("detector:D-1", text)
    with pytest.raises(msgspec.DecodeError):
        decode_detector(text)


def test_equal_parts_are_one_value_and_different_ones_are_not(fleet: Actor) -> None:
    for minute in ("10", "20", "30"):
        write(bump(at(f"07:{minute}"), by="person:P-07"), fleet, now=ms(f"07:{minute}") + 60_000)  # type: ignore[arg-type]
    write(bump(at("07:40"), by="person:P-07", missed="CO"), fleet, now=ms("07:41"))
    state = decode_detector(Standing.objects.get(subject="detector:D-017").state)
    failed, third, second, first = state.tests
    assert first.checks is second.checks is third.checks
    assert first.shown is third.shown
    assert failed.shown != first.shown
    assert [each.reached for each in failed.shown] != [each.reached for each in first.shown]


def test_what_is_remembered_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decoding, "PARTS_KEPT", 3)
    part = decoding._Part(tuple[str, ...])
    for number in range(10):
        assert part(msgspec.Raw(b'["%d"]' % number)) == (str(number),)
        assert len(part._met) <= 3
