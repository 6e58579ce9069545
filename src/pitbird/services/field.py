"""Entries that phones send: each is written as it was signed, or waits for the keeper with every fault.

The signature is over the canonical body as it was sent, so nothing is filled in here: an entry that leaves
out what the book would add is not the entry that was signed. What a phone's clock says is kept as it is; what
a wrong clock makes of it is the fold's to say (a pass dated after its arrival does not count, a fail does).
"""

from __future__ import annotations

import base64
import binascii
import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import msgspec

from pitbird.fleet.folding.item import item_of, mends, permits, runs_ahead
from pitbird.fleet.kinds import KINDS
from pitbird.fleet.kinds.base import Body
from pitbird.fleet.state import PersonState
from pitbird.fleet.times import Ms, local, ms_of, text_of
from pitbird.intake.checks import check_against
from pitbird.intake.entries import read_body
from pitbird.intake.faults import Fault
from pitbird.record.canonical import canonical, parse
from pitbird.record.errors import DuplicateKey, NotCanonical, NotJson, RecordError
from pitbird.record.leaf import read_leaf
from pitbird.record.seal import opens
from pitbird.record.signature import read_signature, verify_signature
from pitbird.services import clock, phones
from pitbird.services.appending import IdTaken, append
from pitbird.services.knowing import Now
from pitbird.services.phones import Phone
from pitbird.services.referring import check_references
from pitbird.services.waiting import Sent, digest_of, find, keep, mark_written, open_one
from pitbird.services.writing import Actor, near
from pitbird.store import book
from pitbird.store.blobs import SealedBlob
from pitbird.store.models import Waiting

MOST_ENTRIES: Final = 200
MOST_BYTES: Final = 2_000_000
#: What may be written on a phone, by roles: None is anybody.
FIELD_KINDS: Final[Mapping[str, frozenset[str] | None]] = {
    "bump-test": None, "fresh-air-set": None, "happened": None, "out-of-service": None, "note": None,
    "handed-out": None, "handed-back": None, "alarm-in-use": None, "gauge-read": None,
    "cylinder-opened": None, "cylinder-emptied": None, "cylinder-quarantined": None,
    "issued-untested": frozenset({"keeper"}),
}  # fmt: skip
_LOG: Final = logging.getLogger("pitbird.field")


class NotReadable(ValueError):
    """The request itself cannot be read, so nothing of it was kept."""


@dataclass(frozen=True)
class Answer:
    """What became of one entry of a request."""

    entry_id: str
    status: str
    index: int | None = None
    counts: bool = True
    waiting: Waiting | None = None
    detectors: tuple[str, ...] = ()


@dataclass
class Reading:
    """One entry as it was sent, with everything that keeps it from being written."""

    content: str
    body: dict[str, Any] = field(default_factory=dict)
    signature: Any = None
    typed: Body | None = None
    blobs: list[SealedBlob] = field(default_factory=list)
    why: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def against(self, why: str, *faults: Fault) -> None:
        """Note a reason and its faults."""
        if why not in self.why:
            self.why.append(why)
        self.faults += faults

    def faults_of_clock(self, came_at: Ms) -> None:
        """What permits or mends and lies after it came does not become right as the hours pass."""
        at = self.body["at"]
        if (permits(self.body) or mends(self.body)) and runs_ahead(ms_of(at), came_at):
            problem = f"lies after {text_of(came_at)}, when it came; write it with the time when it happened"
            self.against("refused", Fault(f"{self.body['kind']}.at", at, problem))

    @property
    def device(self) -> str:
        """The phone that the entry names."""
        told = self.body.get("phone")
        name = told.get("device") if isinstance(told, Mapping) else None
        return name if isinstance(name, str) else ""


class _Request(msgspec.Struct, forbid_unknown_fields=True):
    entries: list[msgspec.Raw]


def split(data: bytes) -> list[str]:
    """The entries of a request, each as the text that came. Raises NotReadable."""
    if len(data) > MOST_BYTES:
        raise NotReadable(f"more than {MOST_BYTES} bytes; send fewer entries at once")
    try:
        request = msgspec.json.decode(data, type=_Request)
        texts = [bytes(each).decode("utf-8") for each in request.entries]
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as refused:
        raise NotReadable(f"not an object with a list 'entries' ({refused})") from None
    if len(texts) > MOST_ENTRIES:
        raise NotReadable(f"more than {MOST_ENTRIES} entries; send fewer at once")
    return texts


def receive(
    contents: Sequence[str], *, person: Actor | None, sender: Phone | None, now: Ms | None = None
) -> list[Answer]:
    """Write the entries of a phone, in order; what cannot be written waits.

    ``person`` is who is signed in, ``sender`` the phone whose cookie came. Something that breaks on this side
    stops the rest, which is to be sent again.
    """
    answers: list[Answer] = []
    for place, content in enumerate(contents):
        instant = clock.now() if now is None else now
        try:
            answers.append(_receive(content, person, sender, instant))
        except Exception:  # noqa: BLE001 - whatever broke, the phone keeps the entry and sends it again
            _LOG.exception("an entry from a phone could not be taken")
            answers.append(Answer(_id_of(content), "stopped"))
            answers += [Answer(_id_of(each), "not-tried") for each in contents[place + 1 :]]
            break
    return answers


def _receive(content: str, person: Actor | None, sender: Phone | None, now: Ms) -> Answer:
    before = find(digest_of(content))
    if before is not None:
        status = "waiting" if before.state == "waiting" else "settled"
        return Answer(before.entry_id, status, before.index, waiting=before, detectors=_one(before.detector))
    reading = read(content, now, person=person, sender=sender)
    answer = _written_before(reading) or (_write(reading, now) if not reading.why else None)
    if answer is not None:
        return answer
    kept = keep(
        Sent(content, reading.body, reading.device, tuple(reading.why), tuple(reading.faults)),
        sent_by=person.person if person else "",
        answers_for=_answers_for(reading, person, sender),
        now=now,
    )
    return Answer(kept.entry_id, "waiting", waiting=kept, detectors=_one(kept.detector))


def try_again(number: int, actor: Actor, *, now: Ms | None = None) -> Answer:
    """Write what waits as it came, where nothing stands against it any more; else say what does.

    Raises LookupError or Settled.
    """
    instant = clock.now() if now is None else now
    kept = open_one(number)
    reading = read(kept.content, instant, person=None, sender=None, came_at=Ms(kept.came_at))
    answer = _written_before(reading) or (_write(reading, instant) if not reading.why else None)
    if answer is None:
        kept.why = " ".join(reading.why)
        kept.faults = json.dumps([[each.where, each.value, each.problem] for each in reading.faults])
        kept.save(update_fields=["why", "faults"])
        return Answer(kept.entry_id, "waiting", waiting=kept, detectors=_one(kept.detector))
    mark_written(kept, answer.index or 0, actor, instant)
    return answer


def _one(detector: str) -> tuple[str, ...]:
    return (detector,) if detector else ()


def _answers_for(reading: Reading, person: Actor | None, sender: Phone | None) -> Actor | None:
    """In whose name a detector is taken out of service: who is signed in, else who registered the phone."""
    if person is not None:
        return person
    row = next((row for row in book.about(sender.subject) if row.kind == "device"), None) if sender else None
    return Actor(row.by, row.site, phones.zone_of(row.site)) if row is not None else None


# --- Reading one entry


def read(
    content: str, now: Ms, *, person: Actor | None, sender: Phone | None, came_at: Ms | None = None
) -> Reading:
    """One entry with everything that stands against writing it; ``came_at`` where it waited since then."""
    reading = Reading(content)
    item = _item(reading)
    if item is None:
        return reading
    reading.signature = item.get("signature")
    try:
        verify_signature(reading.body, reading.signature)
    except RecordError as refused:
        reading.against("signature", Fault(refused.where, "", refused.what))
    typed, faults = read_body(reading.body)
    if typed is None:
        reading.against("refused", *faults)
    else:
        reading.typed = typed
        _whole(reading, typed)
        _device(reading, typed, person)
        _who(reading, typed)
        _texts(reading, typed, item.get("texts"))
        for fault in _checked(typed, now):
            of_authority = fault.where == f"{typed.kind}.authority"
            reading.against("no-right" if of_authority else "refused", fault)
        if came_at is not None:
            reading.faults_of_clock(came_at)
    return reading


def _item(reading: Reading) -> dict[str, Any] | None:
    """The parts of what came; None where it cannot be read at all."""
    item: Any
    try:
        item = parse(reading.content)
        problem = "" if isinstance(item, dict) else "not an object of body and signature"
    except (NotJson, DuplicateKey, NotCanonical) as refused:
        item, problem = None, refused.what
        try:  # its facts are looked at for what speaks against a detector, though it is not written
            loose = json.loads(reading.content)
            if isinstance(loose, dict) and isinstance(loose.get("body"), dict):
                reading.body = loose["body"]
        except (ValueError, RecursionError):
            pass
    if not problem and isinstance(item, dict):
        if isinstance(item.get("body"), dict):
            reading.body = item["body"]
        unknown = sorted(item.keys() - {"body", "signature", "texts"})
        if unknown or not reading.body:
            problem = "not an object of body, signature and texts"
    if problem:
        reading.against("not-readable", Fault("entry", "", problem))
        return None
    return dict(item)


def _whole(reading: Reading, typed: Body) -> None:
    """What was signed must be what stands in the book, to the last field."""
    full = typed.as_body()
    for name in sorted(full.keys() | reading.body.keys()):
        if name not in reading.body:
            problem = f"must be written out, since it is signed: {json.dumps(full[name])}"
            reading.against("refused", Fault(f"{typed.kind}.{name}", "", problem))
        elif full.get(name) != reading.body[name]:
            problem = f"is not written as the book writes it: {json.dumps(full.get(name))[:200]}"
            reading.against("refused", Fault(f"{typed.kind}.{name}", "", problem))
    if typed.entered is not None:
        reading.against("refused", Fault(f"{typed.kind}.entered", "", "never stands in what a phone signed"))


def _device(reading: Reading, typed: Body, person: Actor | None) -> None:
    """Whether the phone is registered, and signed with its own key."""
    where = f"{typed.kind}.phone.device"
    if typed.phone is None:
        reading.against("not-registered", Fault(f"{typed.kind}.phone", "", "missing; say on which phone"))
        return
    name = typed.phone.device
    found = phones.phone(name)
    if found is None:
        reading.against("not-registered", Fault(where, name, "no phone of this code is registered"))
        return
    if found.ended is not None:
        reading.against("device-ended", Fault(where, name, f"its registration ended ({found.because})"))
    try:
        own = found.signs_as(read_signature(reading.signature))
    except RecordError:
        return  # said already
    if not own:
        reading.against("not-this-device", Fault(where, name, "signed with a key that is not its own"))


def _who(reading: Reading, typed: Body) -> None:
    """Whether the person is known on the phone, is still here, and may write this kind."""
    where = f"{typed.kind}.by"
    state = Now().state(typed.by)
    if not isinstance(state, PersonState):
        return  # the check of names says so
    if typed.phone is not None and not phones.is_known(typed.phone.device, typed.by):
        problem = "neither their PIN nor their account was ever checked on this phone"
        reading.against("not-known-here", Fault(where, typed.by, problem))
    day = local(ms_of(typed.at), typed.zone).date().isoformat()
    if state.left is not None and state.left < day:
        reading.against("left", Fault(where, typed.by, f"left on {state.left}"))
    if typed.kind not in FIELD_KINDS:
        problem = "is not written on a phone; use the pages"
        reading.against("no-right", Fault("kind", typed.kind, problem))
        return
    wanted = FIELD_KINDS[typed.kind]
    if wanted is not None and not wanted & set(state.roles):
        reading.against(
            "no-right", Fault(where, typed.by, f"only a {' or '.join(sorted(wanted))} writes this")
        )


def _texts(reading: Reading, typed: Body, texts: Any) -> None:
    """The texts that the commitments of a body stand for; each has to open its commitment."""
    given = texts if isinstance(texts, dict) else {}
    if texts is not None and not isinstance(texts, dict):
        reading.against("refused", Fault("texts", "", "not an object of texts by field"))
    for name in sorted(given.keys() - set(KINDS[typed.kind].SEALED)):
        reading.against("refused", Fault(f"texts.{name}", "", "no field of this kind is a sealed text"))
    for name in KINDS[typed.kind].SEALED:
        commitment = getattr(typed, name)
        if commitment is None:
            continue
        opened: Any = given.get(name)
        try:
            salt, content = _base64url(opened["salt"]), opened["text"].encode("utf-8")
        except (TypeError, KeyError, AttributeError, ValueError):
            problem = "missing; send the text with its salt beside the body"
            reading.against("refused", Fault(f"texts.{name}", "", problem))
            continue
        if not opens(commitment, salt, content):
            reading.against("refused", Fault(f"texts.{name}", "", "does not open the commitment in the body"))
        else:
            reading.blobs.append(SealedBlob(commitment, salt, "text/plain", content))


def _base64url(text: str) -> bytes:
    try:
        return base64.b64decode(text + "=" * (-len(text) % 4), altchars=b"-_", validate=True)
    except binascii.Error as refused:
        raise ValueError(str(refused)) from None


def _checked(typed: Body, now: Ms) -> tuple[Fault, ...]:
    """What the book contradicts. A clock that runs ahead is no fault here: the entry is kept and the fold
    says what it is worth."""
    plain = typed.as_body()
    times = [
        typed.at,
        *(each[end] for each in plain.get("applications", ()) for end in ("gas_on", "gas_off")),
    ]
    latest = max(now, *(ms_of(each) for each in times))
    against = check_against(
        typed,
        now=Ms(latest),
        known=lambda subject: bool(book.standings([subject])),
        describe=Now().state,
        near=near,
    )
    # Of the phone itself it is said elsewhere.
    told = (each for each in against if each.where != f"{typed.kind}.phone.device")
    return (*told, *check_references(typed))


# --- Writing one entry


def _written_before(reading: Reading) -> Answer | None:
    """Where the same entry stands in the book; one with other contents stands against this one."""
    entry_id = reading.body.get("id")
    row = book.by_id(entry_id) if isinstance(entry_id, str) else None
    if row is None:
        return None
    stands = read_leaf(row.leaf.encode())
    try:
        same = canonical(stands.body) == canonical(reading.body)
    except RecordError:
        same = False
    if same and "signature" not in reading.why:
        return Answer(row.entry_id, "already", row.index, detectors=_detectors(stands.body))
    problem = f"stands in the book already, as entry {row.index}, with other contents"
    reading.against("id-taken", Fault("id", row.entry_id, problem))
    return None


def _write(reading: Reading, now: Ms) -> Answer | None:
    try:
        appended = append(reading.body, recorded_at=now, blobs=reading.blobs, signature=reading.signature)
    except IdTaken as taken:
        reading.against("id-taken", Fault("id", taken.entry_id, "stands in the book with other contents"))
        return None
    status = "already" if appended.again else "written"
    counts = item_of(appended.index, reading.body, text_of(now)).counts
    return Answer(appended.entry_id, status, appended.index, counts, detectors=_detectors(reading.body))


def _detectors(body: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(subject for subject in body.get("about", ()) if subject.startswith("detector:"))


def _id_of(content: str) -> str:
    try:
        found = json.loads(content)["body"]["id"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return ""
    return found if isinstance(found, str) else ""
