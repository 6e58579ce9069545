"""The waiting room: what phones sent and what cannot be written, word for word, until the keeper decides.

Beside the book and never in its export. Nothing is taken out of it but the plain texts of what was written
after all, which stand in the book then: written or set aside with a reason, it stays with what became of it.
Where what waits speaks against a detector that the book knows, that detector is taken out of service at once:
a fail counts on arrival, however it came.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, Final

import msgspec
from django.db import transaction
from django.db.models import Count

from pitbird.fleet import bump
from pitbird.fleet.folding.item import clock_in_doubt, permits
from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms, text_of
from pitbird.intake.drafts import put_commitments, take_texts, with_book_times
from pitbird.intake.entries import read_body
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.services import clock
from pitbird.services.appending import Appended, writing
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, check, seal
from pitbird.store import blobs
from pitbird.store.models import Waiting

WAITING: Final = "waiting"
WRITTEN: Final = "written"
SET_ASIDE: Final = "set-aside"
#: Reasons why something waits, each with a sentence for people in ``web``.
WHY: Final = (
    "not-registered", "device-ended", "not-this-device", "signature", "not-known-here", "left", "no-right",
    "refused", "id-taken", "not-readable",
)  # fmt: skip


class Settled(ValueError):
    """What was to be decided about was decided before."""


@dataclass(frozen=True)
class Sent:
    """What a phone sent, with why it cannot be written; ``body`` is whatever could be read of it."""

    content: str
    body: Mapping[str, Any]
    device: str
    why: tuple[str, ...]
    faults: tuple[Fault, ...]

    @property
    def digest(self) -> str:
        """By this it is known again."""
        return digest_of(self.content)


def digest_of(content: str) -> str:
    """SHA-256 over what came, in hex."""
    return sha256(content.encode()).hexdigest()


def find(digest: str) -> Waiting | None:
    """What is kept under a digest, whatever became of it."""
    return Waiting.objects.filter(digest=digest).first()


def keep(sent: Sent, *, sent_by: str, answers_for: Actor | None, now: Ms) -> Waiting:
    """Keep what cannot be written; the same once only.

    ``sent_by`` is who was signed in, if anybody; in the name of ``answers_for`` a detector that it speaks
    against is taken out of service.
    """
    with transaction.atomic():
        before = find(sent.digest)
        if before is not None:
            return before
        detector = _text(sent.body, "detector")
        kept = Waiting.objects.create(
            digest=sent.digest,
            content=sent.content,
            entry_id=_text(sent.body, "id")[:36],
            kind=_text(sent.body, "kind")[:48],
            detector=detector[:80],
            device=sent.device[:80],
            person=_text(sent.body, "by")[:80],
            came_at=now,
            sent_by=sent_by,
            why=" ".join(sent.why),
            faults=json.dumps([[each.where, each.value, each.problem] for each in sent.faults]),
        )
        known = Now().state(detector)
        state = known if isinstance(known, DetectorState) else None
        if answers_for is not None and speaks_against(sent.body, state):
            kept.withdrawn_by = _take_out(detector, kept.digest, answers_for, now)
            kept.save(update_fields=["withdrawn_by"])
    return kept


def speaks_against(body: Mapping[str, Any], detector: DetectorState | None = None) -> bool:
    """Whether an entry says of a detector that it is not fit: a failed test or calibration, something that
    happened, an alarm in use, out of service. A spoiled test proves nothing and withdraws nothing. What a
    test amounts to is judged as in the book, by the detector's description where that is known."""
    if not _text(body, "detector"):
        return False
    kind = body.get("kind")
    if kind == "bump-test":
        return body.get("outcome") == "failed" or _shows_a_failure(body, detector)
    if kind == "calibration":
        return body.get("result") != "passed"
    return kind in {"out-of-service", "happened", "alarm-in-use"}


def _shows_a_failure(body: Mapping[str, Any], detector: DetectorState | None) -> bool:
    """Whether the facts of a test that does not say so are those of a fail; what cannot be read is left
    out."""
    facts: dict[str, Any] = {
        name: part for name in ("checks", "signals", "cleared") if isinstance(part := body.get(name), Mapping)
    }
    facts["clean_air"] = _named(body.get("clean_air"))
    facts["applications"] = [
        {**application, "channels": _named(application.get("channels"))}
        for application in _list(body.get("applications"))
    ]
    if body.get("outcome") == "spoiled":
        facts["spoiled_because"] = _text(body, "spoiled_because") or "other"
    return bump.outcome(bump.plan(detector or DetectorState("")), facts)[0] == "failed"


def _list(value: object) -> list[Mapping[str, Any]]:
    return [each for each in value if isinstance(each, Mapping)] if isinstance(value, list) else []


def _named(value: object) -> list[Mapping[str, Any]]:
    """With a name each: a "no" without one speaks against the detector all the same."""
    return [{**each, "channel": _text(each, "channel")} for each in _list(value)]


def _text(body: Mapping[str, Any], field: str) -> str:
    value = body.get(field)
    return value if isinstance(value, str) else ""


def _take_out(detector: str, digest: str, actor: Actor, now: Ms) -> str:
    """Take a detector out of service; the entry's id, "" where the book does not know the detector."""
    state = Now().state(detector)
    if not isinstance(state, DetectorState):
        return ""
    blob = seal("A phone sent an entry that speaks against it and that waits for the keeper.")
    draft = {
        "kind": "out-of-service", "v": 1, "id": clock.new_id(), "at": text_of(now), "zone": actor.zone,
        "by": actor.person, "detector": detector, "because": "suspect", "note": blob.commitment,
        "entered": {"by": actor.person, "waiting": digest},
    }  # fmt: skip
    if actor.site:
        draft["where"] = actor.site
    body, faults = read_body(draft)
    if body is None:
        raise EntryRefused(faults)
    with writing() as ledger:
        ledger.add(body.as_body(), recorded_at=now)
        blobs.put([blob])
    return body.id


# --- The keeper's side


def waiting() -> list[Waiting]:
    """What waits, the oldest first."""
    return list(Waiting.objects.filter(state=WAITING).order_by("number"))


def settled(limit: int = 50) -> list[Waiting]:
    """What was decided, the newest first."""
    return list(Waiting.objects.exclude(state=WAITING).order_by("-settled_at", "-number")[:limit])


def waiting_by_detector(detectors: Iterable[str] | None = None) -> dict[str, int]:
    """How many entries wait by detector."""
    rows = Waiting.objects.filter(state=WAITING).exclude(detector="")
    if detectors is not None:
        rows = rows.filter(detector__in=list(detectors))
    counted = rows.values("detector").annotate(many=Count("number"))
    return {row["detector"]: row["many"] for row in counted}


def faults_of(kept: Waiting) -> tuple[Fault, ...]:
    """The faults for which something waits."""
    return tuple(Fault(*each) for each in json.loads(kept.faults))


def draft_of(kept: Waiting) -> dict[str, Any]:
    """What came as a draft to be put right, with its texts as plain text; {} where it cannot be read."""
    try:
        item = json.loads(kept.content)
        body = dict(item["body"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return {}
    for name in ("phone", "about", "entered"):
        body.pop(name, None)
    texts = item.get("texts")
    for path, opened in texts.items() if isinstance(texts, Mapping) else ():
        if path in body and isinstance(opened, Mapping) and isinstance(opened.get("text"), str):
            body[path] = opened["text"]
    return body


def write_corrected(
    number: int, draft: Mapping[str, Any], actor: Actor, *, now: Ms | None = None
) -> Appended:
    """Write what waits with a correction, as an entry that names it: ``by`` stays who did it, ``entered`` is
    the keeper. It has an id of its own and no signature, since it is not what was signed.

    Raises Settled, or EntryRefused with every fault.
    """
    instant = clock.now() if now is None else now
    with transaction.atomic():
        kept = _open(number)
        whole = {**draft, "v": 1, "id": clock.new_id()}
        for name in ("phone", "about"):
            whole.pop(name, None)
        whole["entered"] = {"by": actor.person, "waiting": kept.digest}
        whole, mistimed = with_book_times(whole)
        rest, texts = take_texts(whole)
        sealed = {path: seal(text) for path, text in texts.items()}
        body, faults = read_body(
            put_commitments(rest, {path: each.commitment for path, each in sealed.items()})
        )
        if body is None or mistimed:
            told = {fault.where for fault in mistimed}
            raise EntryRefused((*mistimed, *(each for each in faults if each.where not in told)))
        found = list(check(body, instant))
        found += _recording_faults(body.as_body(), kept, actor)
        if found:
            raise EntryRefused(found)
        with writing() as ledger:
            appended = ledger.add(body.as_body(), recorded_at=instant)
            blobs.put(list(sealed.values()))
        _settle(kept, WRITTEN, actor, instant, index=appended.index)
    return appended


def _recording_faults(body: Mapping[str, Any], kept: Waiting, actor: Actor) -> list[Fault]:
    """What permits cannot have happened after the phone sent it; where the phone's clock was ahead, somebody
    else than the one who did it says when it was. The kind stays what it was."""
    faults = []
    if permits(body) and (ahead := _ahead(kept)):
        where = f"{body['kind']}.at"
        if body["at"] == ahead[0]:
            problem = f"is by a clock that was {ahead[1]} s ahead; say when it really happened"
            faults.append(Fault(where, str(body["at"]), problem))
        if body["by"] == actor.person:
            problem = "is by a clock that was ahead; another keeper says when it really happened"
            faults.append(Fault(where, str(body["at"]), problem))
    if permits(body) and body["at"] > text_of(Ms(kept.came_at + 120_000)):
        problem = f"lies after {text_of(Ms(kept.came_at))}, when it came; it cannot have happened later"
        faults.append(Fault(f"{body['kind']}.at", str(body["at"]), problem))
    if kept.kind and body["kind"] != kept.kind:
        faults.append(Fault("kind", str(body["kind"]), f"what waits is a {kept.kind}; write that"))
    return faults


def set_aside(number: int, reason: str, actor: Actor, *, now: Ms | None = None) -> None:
    """Set aside what waits, with a reason. A detector that it took out of service stays out of service until
    somebody returns it. Raises Settled, or EntryRefused without a reason."""
    if not reason.strip():
        raise EntryRefused([Fault("reason", "", "say why; what is set aside stays here with its reason")])
    with transaction.atomic():
        _settle(_open(number), SET_ASIDE, actor, clock.now() if now is None else now, reason=reason.strip())


def mark_written(kept: Waiting, index: int, actor: Actor, now: Ms) -> None:
    """Keep that what waited was written as it came."""
    _settle(kept, WRITTEN, actor, now, index=index)


def open_one(number: int) -> Waiting:
    """What waits under a number. Raises LookupError, or Settled where it does not wait any more."""
    return _open(number)


def _open(number: int) -> Waiting:
    kept = Waiting.objects.select_for_update().filter(number=number).first()
    if kept is None:
        raise LookupError(number)
    if kept.state != WAITING:
        raise Settled(f"this was decided before: {kept.state}")
    return kept


def _ahead(kept: Waiting) -> tuple[str, str] | None:
    """The time of what came, and by how many seconds its phone's clock was ahead, where it was."""
    try:
        came = json.loads(kept.content)["body"]
        at, ahead = came["at"], came["phone"]["ahead_s"]
        return (at, ahead) if clock_in_doubt({"at": at, "phone": {"ahead_s": ahead}}, Ms(2**53)) else None
    except (ValueError, KeyError, TypeError, ArithmeticError, RecursionError):
        return None


def _without_texts(content: str) -> str:
    """What came without its plain texts: body and signature stay byte for byte."""
    try:
        parts = msgspec.json.decode(content, type=dict[str, msgspec.Raw])
    except (msgspec.DecodeError, RecursionError):
        return content
    kept = (f"{json.dumps(name)}:{bytes(part).decode()}" for name, part in parts.items() if name != "texts")
    return content if "texts" not in parts else "{" + ",".join(kept) + "}"


def _settle(
    kept: Waiting, state: str, actor: Actor, now: Ms, *, reason: str = "", index: int | None = None
) -> None:
    kept.state, kept.settled_at, kept.settled_by = state, now, actor.person
    kept.reason, kept.index = reason, index
    if state == WRITTEN:  # its texts stand in the book, sealed, and are erased there
        kept.content = _without_texts(kept.content)
    kept.save(update_fields=["state", "settled_at", "settled_by", "reason", "index", "content"])


__all__: Sequence[str] = (
    "Sent", "Settled", "digest_of", "draft_of", "faults_of", "find", "keep", "mark_written", "open_one",
    "set_aside", "settled", "speaks_against", "waiting", "waiting_by_detector", "write_corrected",
)  # fmt: skip
