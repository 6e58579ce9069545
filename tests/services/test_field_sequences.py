"""Random acts of several phones and a keeper: nothing is lost, nothing stands twice, and the states are what
the entries amount to when they are folded anew."""

from __future__ import annotations

import json
import random
from typing import Any

import pytest
from django.db import transaction

from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import MINUTE, Ms
from pitbird.rules.decision import Verdict
from pitbird.services import clock, field, phones
from pitbird.services.gate import gate_one
from pitbird.services.knowing import Now
from pitbird.services.refolding import refold
from pitbird.services.writing import Actor
from pitbird.store import book
from pitbird.store.models import Waiting
from tests.phone import FieldPhone
from tests.web.conftest import KEEPER, NOON, SITE, TESTER, Cast, ago, cast, passed  # noqa: F401

BOSS = Actor(KEEPER, SITE, "Europe/Lisbon")
CODES = ("D-017", "D-018", "D-019", "D-404")
#: How far a phone's clock is off, in minutes.
OFF = (0, 0, 0, -1440, -3, 1.5, 1440)


class Undone(Exception):
    """Ends a sequence: what it wrote is rolled back, so that each begins from the same book."""


def item(dice: random.Random, phone: FieldPhone, now: Ms) -> tuple[str, str, bool]:
    """An entry as the phone keeps it: its id, the text, and whether it is a fail."""
    fails = dice.random() < 0.25
    at = Ms(int(now + dice.choice(OFF) * MINUTE))
    outcome = {"outcome": "failed", "missed": "H2S"} if fails else {}
    body: dict[str, Any] = {
        **passed(dice.choice(CODES), at, **outcome), "id": clock.new_id(), "zone": "Europe/Lisbon",
        "by": dice.choice((TESTER, TESTER, TESTER, KEEPER)), "where": SITE,
    }  # fmt: skip
    return body["id"], json.dumps(phone.item(body)), fails


def play(seed: int) -> None:
    """One sequence: entries are made offline, batches are sent, answers are lost, phones come and go."""
    dice = random.Random(seed)
    fleet = [FieldPhone(f"device:PH-{n}") for n in range(3)]
    kept: dict[str, list[tuple[str, str, bool]]] = {phone.device: [] for phone in fleet}
    made: dict[str, tuple[str, bool]] = {}
    told: dict[str, set[str]] = {}
    now = NOON
    for phone in fleet[: dice.randrange(1, 4)]:
        phones.register(phone.device, phone.alg, phone.key, BOSS, now=ago(60))
        phones.note_known(phone.device, TESTER, "pin", ago(50))
    for _step in range(dice.randrange(8, 20)):
        now = Ms(now + dice.randrange(1, 20) * MINUTE)
        phone = dice.choice(fleet)
        waiting = kept[phone.device]
        act = dice.random()
        if act < 0.6:
            new = item(dice, phone, now)
            made[new[0]] = (new[1], new[2])
            waiting.append(new)
        elif act < 0.9:
            send(dice, waiting, phone, now, told)
        elif phones.phone(phone.device) is not None:
            phones.end(phone.device, "lost", BOSS, now=now)
    for phone in fleet:  # in the end there is network
        send(random.Random(1), kept[phone.device], phone, now, told, lost=0.0)
        assert kept[phone.device] == []
    look(made, told, now)


def send(
    dice: random.Random,
    waiting: list[tuple[str, str, bool]],
    phone: FieldPhone,
    now: Ms,
    told: dict[str, set[str]],
    lost: float = 0.4,
) -> None:
    """Send what a phone keeps, in order; where the answer is lost it keeps everything."""
    sender = phones.phone(phone.device)
    answers = field.receive(
        [text for _id, text, _fails in waiting],
        person=BOSS if sender is None or dice.random() < 0.5 else None,
        sender=sender,
        now=now,
    )
    if dice.random() < lost:
        return
    for answer in answers:
        told.setdefault(answer.entry_id, set()).add(answer.status)
    waiting.clear()


def look(made: dict[str, tuple[str, bool]], told: dict[str, set[str]], now: Ms) -> None:
    """Every entry stands in the book once, or waits once word for word, and was told to be so."""
    for entry_id, (text, fails) in made.items():
        row, waits = book.by_id(entry_id), Waiting.objects.filter(content=text).count()
        assert (row is not None) + waits == 1, entry_id
        assert told[entry_id] <= ({"written", "already"} if row is not None else {"waiting"})
        detector = json.loads(text)["body"]["detector"]
        if fails and Now().state(detector) is not None:
            assert gate_one(detector, now=now).decision.verdict is Verdict.OUT_OF_SERVICE
    for subject in book.subjects("detector") + book.subjects("cylinder"):
        assert Now().state(subject) == refold(subject), subject
    assert isinstance(Now().state("detector:D-017"), DetectorState)


@pytest.mark.slow
@pytest.mark.parametrize("block", range(10))
def test_random_acts_lose_nothing_and_write_nothing_twice(cast: Cast, block: int) -> None:  # noqa: F811
    for seed in range(block * 12, block * 12 + 12):
        with pytest.raises(Undone), transaction.atomic():  # noqa: PT012 - the whole sequence is undone
            play(seed)
            raise Undone
