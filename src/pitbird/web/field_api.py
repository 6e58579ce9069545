"""The API of phones, under /api/field/: pairing, the snapshot, entries, PINs. See docs/field.md."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.utils.translation import get_language
from ninja import Router
from ninja.utils import check_csrf

from pitbird.fleet.state import SiteState
from pitbird.fleet.times import text_of
from pitbird.intake.faults import EntryRefused, Fault
from pitbird.record.canonical import parse
from pitbird.record.errors import RecordError
from pitbird.services import clock, field, gate, handing, phones, pins, seeing
from pitbird.services.knowing import Now
from pitbird.services.phones import Phone, phone_of
from pitbird.services.waiting import faults_of
from pitbird.services.writing import Actor
from pitbird.web import carried
from pitbird.web.who import NoPerson, actor_of, zone_of

COOKIE: Final = "pitbird-device"
_YEAR: Final = 365 * 24 * 3600


def let_in(request: HttpRequest) -> tuple[Actor | None, Phone | None] | None:
    """Who asks: the person who is signed in and the phone whose cookie came; None for neither.

    With the phone's cookie, which comes from our own pages only (SameSite=Strict), no token is asked for, but
    a kind of content that a form of another site cannot send.
    """
    phone = phone_of(request.COOKIES.get(COOKIE, ""))
    if phone is not None and request.method == "POST" and request.content_type != "application/json":
        return None
    person: Actor | None = None
    if request.user.is_authenticated and (phone is not None or check_csrf(request) is None):
        try:
            person = actor_of(request)
        except NoPerson:
            person = None
    if person is None and phone is None:
        return None
    if person is not None and phone is not None and phone.ended is None:
        phones.note_known(phone.subject, person.person, "account", clock.now())
    return person, phone


def anybody(request: HttpRequest) -> bool:
    """Pairing asks for the secret of the link and nothing else; a form of another site cannot send it."""
    return request.content_type == "application/json"


router = Router(auth=let_in)


def _asking(request: HttpRequest) -> tuple[Actor | None, Phone | None]:
    found: tuple[Actor | None, Phone | None] = request.auth  # type: ignore[attr-defined]
    return found


def _answer(data: Any, status: int = 200) -> HttpResponse:
    response = JsonResponse(data, status=status)
    response["Cache-Control"] = "no-store"
    return response


def _failure(
    status: int, error: str, message: str, faults: Iterable[Fault] = (), **more: Any
) -> HttpResponse:
    listed = [{"where": each.where, "value": each.value, "problem": each.problem} for each in faults]
    return _answer({"error": error, "message": message, "faults": listed, **more}, status)


@router.get("snapshot", summary="What a phone carries into the field")
def get_snapshot(request: HttpRequest, site: str = "") -> HttpResponse:
    """``site``: a code; else the phone's site, else the person's. 304 where only the time has changed."""
    person, phone = _asking(request)
    if phone is not None and phone.ended is not None and person is None:
        return _ended()
    wanted = f"site:{site.removeprefix('site:')}" if site else ""
    where = wanted or (phone.site if phone else "") or (person.site if person else "") or ""
    state = Now().state(where) if where else None
    if not isinstance(state, SiteState):
        raise EntryRefused([Fault("site", site, "the book knows no such site; give the code of one")])
    now = clock.now()
    _note_seen(person, phone)
    made = carried.snapshot(state, now, person=person.person if person else None, phone=phone)
    tag = f'"{made.tag}"'
    if tag in (each.strip() for each in request.headers.get("If-None-Match", "").split(",")):
        response = HttpResponse(status=304)
    else:
        if person is not None:
            made.value["csrf"] = get_token(request)
        packed = "gzip" in request.headers.get("Accept-Encoding", "")
        response = HttpResponse(made.bytes(packed=packed), content_type="application/json; charset=utf-8")
        if packed:
            response["Content-Encoding"] = "gzip"
    response["ETag"] = tag
    response["Cache-Control"] = "private, no-cache"
    response["Vary"] = "Accept-Encoding, Cookie"
    response["Pitbird-Time"] = text_of(now)
    return response


def _ended() -> HttpResponse:
    return _failure(403, "device-ended", "This phone is not registered any more; ask the keeper.")


def _note_seen(person: Actor | None, phone: Phone | None) -> None:
    if settings.SEEN and person is None and phone is not None:
        seeing.record("api", account=seeing.PHONE, person=phone.subject)


@router.get("answer", summary="The gate's answer about one detector for one wearer")
def get_answer(request: HttpRequest, detector: str, wearer: str) -> HttpResponse:
    """``detector`` and ``wearer``: codes. 404 where the book does not know one of them."""
    person, phone = _asking(request)
    if phone is not None and phone.ended is not None and person is None:
        return _ended()
    now = clock.now()
    _note_seen(person, phone)
    row = handing.answer_for(
        f"detector:{detector.removeprefix('detector:')}", f"person:{wearer.removeprefix('person:')}", now
    )
    told = carried.for_wearer(row, zone_of(row.state.site), now)
    return _answer(
        {
            "server_time": text_of(now),
            "book": carried.book_id(),
            "language": get_language() or "en",
            "wearer": wearer.removeprefix("person:"),
            "detector": told,
        }
    )


@router.post("entries", summary="Entries that were written on a phone")
def post_entries(request: HttpRequest) -> HttpResponse:
    """Each is written, stood there already, or waits for the keeper: docs/field.md."""
    person, phone = _asking(request)
    try:
        contents = field.split(request.body)
    except field.NotReadable as refused:
        too_much = len(request.body) > field.MOST_BYTES
        status, error = (413, "too-much") if too_much else (422, "refused")
        return _failure(status, error, "Nothing was kept.", [Fault("entries", "", str(refused))])
    answers = field.receive(contents, person=person, sender=phone)
    now = clock.now()
    touched = dict.fromkeys(subject for answer in answers for subject in answer.detectors)
    return _answer(
        {
            "server_time": text_of(now),
            "book": carried.book_id(),
            "language": get_language() or "en",
            "entries": [_told(answer) for answer in answers],
            "detectors": _decisions(list(touched)),
        }
    )


def _told(answer: field.Answer) -> dict[str, Any]:
    told: dict[str, Any] = {"id": answer.entry_id, "status": answer.status}
    if answer.index is not None:
        told["index"] = answer.index
    if answer.status == "written":
        told["counts"] = answer.counts
    if answer.status == "stopped":
        told["message"] = "Something broke on our side at this entry; send it and those after it again."
    kept = answer.waiting
    if kept is not None:
        told |= {
            "waiting": kept.number,
            "why": kept.why.split(),
            "faults": [
                {"where": each.where, "value": each.value, "problem": each.problem}
                for each in faults_of(kept)
            ],
            "taken_out": bool(kept.withdrawn_by),
        }
        if answer.status == "settled":
            told["reason"] = kept.reason
    return told


def _decisions(subjects: list[str]) -> list[dict[str, Any]]:
    now, found = clock.now(), []
    for subject in subjects:
        try:
            row = gate.gate_one(subject, now=now)
        except gate.UnknownSubject:
            continue
        found += carried.detectors([row], zone_of(row.state.site), now)
    return found


@router.post("pair", summary="Register this phone by the secret of a keeper's link", auth=anybody)
def post_pair(request: HttpRequest) -> HttpResponse:
    """The body ``{"pairing": secret}`` signed with the phone's own key."""
    item = _object(request)
    try:
        phone, cookie = phones.pair_with(item.get("body"), item.get("signature"))
    except phones.NoSuchPairing as refused:
        return _failure(404, "no-such-pairing", f"{str(refused)[:1].upper()}{str(refused)[1:]}.")
    response = _answer(
        {
            "device": phone.subject.partition(":")[2],
            "label": phone.label,
            "site": phone.site.partition(":")[2],
            "book": carried.book_id(),
            "fingerprint": phone.fingerprint,
            "server_time": text_of(clock.now()),
        },
        201,
    )
    response.set_cookie(
        COOKIE, cookie, max_age=_YEAR, httponly=True, samesite="Strict", secure=settings.SESSION_COOKIE_SECURE
    )
    return response


@router.post("pin", summary="Check a person's PIN on this phone, once over the network")
def post_pin(request: HttpRequest) -> HttpResponse:
    """Answers 200, 403 with the tries that are left, 423 when locked, 404 where no PIN was set."""
    _person, phone = _asking(request)
    if phone is None or phone.ended is not None:
        raise PermissionDenied("a registered phone")
    item = _object(request)
    person, pin = item.get("person"), item.get("pin")
    if not isinstance(person, str) or not isinstance(pin, str):
        raise EntryRefused([Fault("pin", "", "send 'person' and 'pin' as texts")])
    subject = f"person:{person.removeprefix('person:')}"
    try:
        since = pins.check_pin(subject, pin, phone)
    except pins.NoPin:
        return _failure(404, "no-pin", "No PIN was set for this person; set one after signing in.")
    except pins.Locked:
        return _failure(423, "locked", "Five wrong PINs came from this phone; the PIN has to be set anew.")
    except pins.WrongPin as wrong:
        return _failure(403, "wrong-pin", "That is not the PIN.", left=wrong.left)
    return _answer({"person": person, "pin": text_of(since), "server_time": text_of(clock.now())})


def _object(request: HttpRequest) -> dict[str, Any]:
    try:
        item = parse(request.body) if len(request.body) < 10_000 else None
    except RecordError:
        item = None
    if not isinstance(item, dict):
        raise EntryRefused([Fault("request", "", "not one short JSON object")])
    return item
