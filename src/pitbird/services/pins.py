"""PINs of people on shared phones: a short number, kept as a slow hash on the server and nowhere else.

A PIN says who of several people holds a phone; it is no password. It is checked here, over the network, the
first time on each phone and after it was set anew, with five tries to a phone. Nothing from which it could be
guessed is ever carried to a phone: see docs/decisions/0016.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

from django.conf import settings
from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.utils.crypto import salted_hmac

from pitbird.fleet.state import PersonState
from pitbird.fleet.times import Ms
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.services import clock
from pitbird.services.knowing import Now
from pitbird.services.phones import Phone, note_known
from pitbird.store.models import KnownOn, Pin

SHORTEST: Final = 4
LONGEST: Final = 8
TRIES: Final = 5


class NoPin(LookupError):
    """The person has no PIN."""


class Locked(PermissionError):
    """Too many wrong PINs came from this phone; the PIN is to be set anew."""


class WrongPin(PermissionError):
    """The PIN is another; ``left`` tries are left."""

    def __init__(self, left: int) -> None:
        super().__init__(f"not the PIN; {left} tries left")
        self.left = left


def set_pin(person: str, pin: str, *, by: str, now: Ms | None = None) -> Ms:
    """Set the PIN of a person; it unlocks every phone for them. Raises EntryRefused, or LookupError."""
    if not isinstance(Now().state(person), PersonState):
        raise LookupError(person)
    if (problem := why_not(pin)) is not None:
        raise EntryRefused([Fault("pin", "", problem)])
    instant = clock.now() if now is None else now
    with transaction.atomic():
        Pin.objects.update_or_create(
            person=person,
            defaults={"hashed": make_password(_peppered(person, pin)), "set_at": instant, "set_by": by},
        )
        KnownOn.objects.filter(person=person).update(wrong=0)
    return instant


def clear_pin(person: str) -> bool:
    """Take a person's PIN away; whether there was one."""
    return Pin.objects.filter(person=person).delete()[0] > 0


def why_not(pin: str) -> str | None:
    """Why something cannot be a PIN; None if it can. Those that people try first are refused."""
    if not (pin.isascii() and pin.isdigit() and SHORTEST <= len(pin) <= LONGEST):
        return f"must be {SHORTEST} to {LONGEST} digits"
    steps = {(int(later) - int(one)) % 10 for one, later in pairwise(pin)}
    if len(steps) == 1 and steps <= {0, 1, 9}:
        return "all digits alike or in a row are guessed first; choose another"
    return None


def set_at() -> dict[str, Ms]:
    """When the PIN of each person who has one was set."""
    return {person: Ms(at) for person, at in Pin.objects.values_list("person", "set_at")}


def check_pin(person: str, pin: str, on: Phone, *, now: Ms | None = None) -> Ms:
    """Check a PIN on a phone; when it was set. From then on the person is known on that phone.

    Raises NoPin, WrongPin, or Locked after five wrong ones on the phone, until the PIN is set anew.
    """
    instant = clock.now() if now is None else now
    kept = Pin.objects.filter(person=person).first()
    if kept is None:
        raise NoPin(person)
    # The try is counted before the PIN is looked at, so that many at once are no more than five.
    with transaction.atomic():
        known, _made = KnownOn.objects.select_for_update().get_or_create(device=on.subject, person=person)
        if known.wrong >= TRIES:
            raise Locked(person)
        wrong = known.wrong + 1
        KnownOn.objects.filter(device=on.subject, person=person).update(wrong=wrong)
    if not check_password(_peppered(person, pin), kept.hashed):
        if wrong >= TRIES:
            raise Locked(person)
        raise WrongPin(TRIES - wrong)
    note_known(on.subject, person, "pin", instant)
    return Ms(kept.set_at)


def _peppered(person: str, pin: str) -> str:
    """The PIN with the server's secret key in it: the table alone is no use to who has a copy of it."""
    return salted_hmac(
        f"pitbird-pin-{person}", pin, secret=settings.SECRET_KEY, algorithm="sha256"
    ).hexdigest()
