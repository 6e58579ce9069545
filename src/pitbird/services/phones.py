"""Phones that write entries: paired by a link, registered by an entry, known by their keys, ended.

A link holds a secret that works once and for a quarter of an hour; the registration is written in the name of
the keeper who gave the link. A phone is let in by a cookie of its own until its registration is ended; what
it writes is taken by its signature, never by the cookie.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

from django.db import transaction

from pitbird.fleet.state import OtherState, PersonState
from pitbird.fleet.times import MINUTE, Ms, local, ms_of
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.record.errors import RecordError
from pitbird.record.signature import Signature, read_signature, verify_signature
from pitbird.services import clock, people
from pitbird.services.appending import Appended, writing
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, check, prepare
from pitbird.store import blobs, book
from pitbird.store.models import KnownOn, Pairing, PhoneToken

#: How long a link for pairing works.
PAIRING_MINUTES: Final = 15
#: Words for the label of a phone are no longer than this.
LABEL_LONGEST: Final = 60
_CODE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}", re.ASCII)


class NoSuchPairing(LookupError):
    """The link is unknown, was used, or is over."""


@dataclass(frozen=True)
class Phone:
    """A registered phone as the book has it. ``ended`` is when its registration ended."""

    subject: str
    alg: str
    key: str
    site: str
    label: str | None
    registered: Ms
    ended: Ms | None
    because: str

    @property
    def fingerprint(self) -> str:
        """What both the phone and the keeper's page show of its key."""
        return fingerprint(self.alg, self.key)

    def signs_as(self, signature: Signature) -> bool:
        """Whether a signature names the key of this phone; the signature itself is checked elsewhere."""
        return signature.alg == self.alg and _base64url(signature.key) == self.key


def fingerprint(alg: str, key: str) -> str:
    """The first 64 bits of SHA-256 over the algorithm's name, a NUL and the raw key, in groups of four."""
    raw = read_signature({"alg": alg, "key": key, "sig": "A" * 86}).key
    digits = sha256(alg.encode() + b"\0" + raw).hexdigest()[:16]
    return " ".join(digits[place : place + 4] for place in range(0, 16, 4))


def phone(subject: str) -> Phone | None:
    """A phone that the book knows; None for any other."""
    state = Now().state(subject) if subject.startswith("device:") else None
    return _phone(state, _labels([state])) if isinstance(state, OtherState) else None


def phones() -> list[Phone]:
    """Every phone that was ever registered, by code."""
    states = Now().some(book.subjects("device"))
    known = [state for state in states.values() if isinstance(state, OtherState)]
    labels = _labels(known)
    found = (_phone(state, labels) for state in known)
    return sorted((each for each in found if each is not None), key=lambda each: each.subject)


def _labels(states: list[Any]) -> dict[str, str]:
    return people.texts(
        state.description["label"]
        for state in states
        if isinstance(state, OtherState) and "label" in state.description
    )


def _phone(state: OtherState, labels: Mapping[str, str]) -> Phone | None:
    told = state.description
    if not {"alg", "key", "site", "at"} <= told.keys() or state.not_understood:
        return None
    return Phone(
        subject=state.subject,
        alg=told["alg"],
        key=told["key"],
        site=told["site"],
        label=labels.get(told.get("label", "")),
        registered=ms_of(told["at"]),
        ended=ms_of(told["ended"]) if "ended" in told else None,
        because=told.get("because", ""),
    )


# --- Registering


def register(
    device: str, alg: str, key: str, actor: Actor, *, label: str = "", now: Ms | None = None
) -> Appended:
    """Register a phone with its public key at the actor's site. Raises EntryRefused with every fault.

    A code has one key for good, and a key one code.
    """
    instant = clock.now() if now is None else now
    faults = list(_code_faults(device))
    try:
        read_signature({"alg": alg, "key": key, "sig": "A" * 86})
    except RecordError as refused:
        faults.append(Fault("key", key[:100], refused.what))
    for other in phones():
        if other.key == key:
            faults.append(Fault("key", "", f"is that of {other.subject}; let the phone make a new one"))
    draft: dict[str, Any] = {"kind": "device", "device": device, "alg": alg, "key": key, "site": actor.site}
    if label.strip():
        draft["label"] = label.strip()
    return _write(draft, actor, instant, faults)


def end(device: str, because: str, actor: Actor, *, note: str = "", now: Ms | None = None) -> Appended | None:
    """End a phone's registration, and let it in no more; None where it had ended. Raises LookupError."""
    found = phone(device)
    if found is None:
        raise LookupError(device)
    if found.ended is not None:
        return None
    draft: dict[str, Any] = {"kind": "device-ended", "device": device, "because": because}
    if note.strip():
        draft["note"] = note.strip()
    return _write(draft, actor, clock.now() if now is None else now, [])


def _write(draft: dict[str, Any], actor: Actor, now: Ms, faults: list[Fault]) -> Appended:
    try:
        body, sealed = prepare(draft, actor, now)
    except EntryRefused as refused:
        raise EntryRefused([*faults, *refused.faults]) from None
    if found := [*faults, *check(body, now)]:
        raise EntryRefused(found)
    with writing() as ledger:
        appended = ledger.add(body.as_body(), recorded_at=now)
        blobs.put(list(sealed))
    return appended


def _code_faults(device: str) -> tuple[Fault, ...]:
    code = device.partition(":")[2]
    if not device.startswith("device:") or not _CODE.fullmatch(code):
        problem = "not a code; write letters, digits, points, dashes or underscores, such as PH-01"
        return (Fault("device", device, problem),)
    if Now().state(device) is not None:
        return (Fault("device", device, "stands in the book already; give this phone another code"),)
    return ()


# --- Pairing


def pair(device: str, actor: Actor, *, label: str = "", now: Ms | None = None) -> tuple[str, Ms]:
    """A link's secret, which is shown this once, and until when it works. Raises EntryRefused."""
    instant = clock.now() if now is None else now
    faults = list(_code_faults(device))
    if actor.site is None:
        faults.append(Fault("site", "", "say at which site the phone is used"))
    if len(label) > LABEL_LONGEST:
        faults.append(Fault("label", label[:20], f"at most {LABEL_LONGEST} characters"))
    if faults:
        raise EntryRefused(faults)
    secret, until = secrets.token_urlsafe(32), Ms(instant + PAIRING_MINUTES * MINUTE)
    Pairing.objects.filter(until__lt=instant).delete()
    Pairing.objects.create(
        digest=_digest(secret), device=device, label=label.strip(), site=actor.site or "", by=actor.person,
        until=until,
    )  # fmt: skip
    return secret, until


def pair_with(body: Any, signature: Any, *, now: Ms | None = None) -> tuple[Phone, str]:
    """Register the phone that holds a link's secret and signed it: the phone, and its cookie.

    Raises NoSuchPairing, or EntryRefused where key or signature are at fault; the link then still works.
    """
    instant = clock.now() if now is None else now
    secret = body.get("pairing") if isinstance(body, Mapping) else None
    with transaction.atomic():
        found = Pairing.objects.select_for_update().filter(digest=_digest(str(secret))).first()
        if found is None or found.used or instant >= found.until:
            raise NoSuchPairing("this link is unknown, was used, or is over; ask the keeper for another")
        keeper = Now().state(found.by)
        zone = zone_of(found.site)
        if not _is_keeper(keeper, instant, zone):
            raise NoSuchPairing("who gave this link is no keeper any more; ask another for a new one")
        try:
            verify_signature(body, signature)
        except RecordError as refused:
            raise EntryRefused([Fault(refused.where, "", refused.what)]) from None
        actor = Actor(found.by, found.site, zone)
        register(found.device, signature["alg"], signature["key"], actor, label=found.label, now=instant)
        Pairing.objects.filter(digest=found.digest).update(used=True)
        cookie = secrets.token_urlsafe(32)
        PhoneToken.objects.create(digest=_digest(cookie), device=found.device)
    made = phone(found.device)
    assert made is not None  # noqa: S101 - it was registered just now
    return made, cookie


def _is_keeper(state: object, now: Ms, zone: str) -> bool:
    if not isinstance(state, PersonState) or "keeper" not in state.roles:
        return False
    return state.left is None or state.left >= local(now, zone).date().isoformat()


def zone_of(site: str | None) -> str:
    """The clock of a site; UTC while none is known."""
    from pitbird.fleet.state import SiteState

    state = Now().state(site) if site else None
    return state.zone if isinstance(state, SiteState) and state.zone else "UTC"


def phone_of(cookie: str) -> Phone | None:
    """The phone that a cookie lets in; also one whose registration has ended, which may still send."""
    found = PhoneToken.objects.filter(digest=_digest(cookie)).first() if cookie else None
    return phone(found.device) if found is not None else None


# --- Who is known on a phone


def note_known(device: str, person: str, how: str, now: Ms) -> None:
    """Keep that a person was known on a phone, by ``pin`` or ``account``."""
    KnownOn.objects.update_or_create(
        device=device, person=person, defaults={"how": how, "at": now, "wrong": 0}
    )


def is_known(device: str, person: str) -> bool:
    """Whether the server ever checked this person's PIN or account on this phone."""
    return KnownOn.objects.filter(device=device, person=person).exclude(how="").exists()


def _digest(secret: str) -> str:
    return sha256(secret.encode()).hexdigest()


def _base64url(data: bytes) -> str:
    import base64

    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()
