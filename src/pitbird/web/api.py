"""The HTTP API under /api/: the gate, one detector, one entry. Signed-in sessions with the CSRF token in
``X-CSRFToken`` for writing; errors have one shape everywhere:
``{"error": ..., "message": ..., "faults": [{"where", "value", "problem"}]}``."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterable, Mapping
from typing import Any, Final, Literal

import msgspec
from django.conf import settings
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.urls import URLPattern
from ninja import NinjaAPI
from ninja.errors import AuthenticationError, HttpError, ValidationError
from ninja.params import functions as param_functions
from ninja.security import SessionAuth

from pitbird.calc import definition, registry
from pitbird.fleet.state import DetectorState
from pitbird.fleet.times import Ms, text_of
from pitbird.intake.faults import Fault
from pitbird.record.canonical import parse
from pitbird.record.errors import BadTree, DuplicateKey, NotCanonical, NotJson
from pitbird.rules.decision import Decision, Finding
from pitbird.services import checkpoints, clock, proofs, proving
from pitbird.services.gate import GateRow, UnknownSubject, gate, gate_one
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor, EntryRefused, IdTaken, prepare, write
from pitbird.store import book
from pitbird.web.field_api import router as field_router
from pitbird.web.names import Names
from pitbird.web.telling import subjects_in, tell_finding
from pitbird.web.views import asked
from pitbird.web.who import actor_of, require_right, zone_of

api = NinjaAPI(
    title="pitbird",
    version="1",
    auth=SessionAuth(csrf=True),
    docs_url=None,
    openapi_url="openapi.json",
    urls_namespace="api",
)

api.add_router("field", field_router)

MOST_BYTES: Final = 1_000_000
_LOG: Final = logging.getLogger("pitbird.api")


def answer(request: HttpRequest, data: Mapping[str, Any], status: int = 200) -> HttpResponse:
    """An answer that nobody keeps for later."""
    response = api.create_response(request, data, status=status)
    response["Cache-Control"] = "no-store"
    return response


def large_answer(data: Mapping[str, Any]) -> HttpResponse:
    """The same for much that is plain texts, numbers, lists and mappings: written sooner."""
    response = HttpResponse(msgspec.json.encode(data), content_type="application/json; charset=utf-8")
    response["Cache-Control"] = "no-store"
    return response


def failure(
    request: HttpRequest, status: int, error: str, message: str, faults: tuple[Fault, ...] = ()
) -> HttpResponse:
    """The one shape of every error."""
    listed = [
        {"where": fault.where, "value": fault.value, "problem": fault.problem}
        | ({"line": fault.line} if fault.line is not None else {})
        for fault in faults
    ]
    return answer(request, {"error": error, "message": message, "faults": listed}, status)


@api.exception_handler(AuthenticationError)
def _not_signed_in(request: HttpRequest, fault: AuthenticationError) -> HttpResponse:
    return failure(request, 401, "not-signed-in", "Sign in first; nothing was written.")


@api.exception_handler(PermissionDenied)
def _no_right(request: HttpRequest, fault: PermissionDenied) -> HttpResponse:
    return failure(
        request, 403, "no-right", "Your name does not carry the right to this. Nothing was written."
    )


@api.exception_handler(ValidationError)
def _not_valid(request: HttpRequest, fault: ValidationError) -> HttpResponse:
    faults = tuple(
        Fault(".".join(str(step) for step in each["loc"]), "", str(each["msg"])) for each in fault.errors
    )
    return failure(request, 422, "refused", "The question cannot be read.", faults)


@api.exception_handler(HttpError)
def _http(request: HttpRequest, fault: HttpError) -> HttpResponse:
    return failure(request, fault.status_code, "refused", str(fault))


@api.exception_handler(UnknownSubject)
def _unknown(request: HttpRequest, fault: UnknownSubject) -> HttpResponse:
    return failure(
        request, 404, "not-in-the-book", f"The book knows no {fault}. What is not in it has no yes."
    )


@api.exception_handler(EntryRefused)
def _refused(request: HttpRequest, fault: EntryRefused) -> HttpResponse:
    return failure(request, 422, "refused", "Nothing was written.", fault.faults)


@api.exception_handler(definition.Refused)
def _not_answered(request: HttpRequest, fault: definition.Refused) -> HttpResponse:
    return failure(request, 422, "refused", "This cannot be calculated.", fault.faults)


@api.exception_handler(IdTaken)
def _taken(request: HttpRequest, fault: IdTaken) -> HttpResponse:
    return failure(
        request, 409, "id-taken", "Nothing was written.", (Fault("id", fault.entry_id, str(fault)),)
    )


@api.exception_handler(Exception)
def _broken(request: HttpRequest, fault: Exception) -> HttpResponse:
    _LOG.error("the API failed", exc_info=fault)
    return failure(
        request,
        500,
        "broken",
        "Something broke on our side. An entry is written whole or not at all; look before sending it again.",
    )


def finding_as_data(finding: Finding, zone: str | None, names: Names) -> dict[str, Any]:
    """A finding with its code and facts for machines, and its words for people."""
    told = tell_finding(finding, zone, names)
    return {
        "rule": finding.rule,
        "predicate": finding.predicate,
        "outcome": finding.outcome.value,
        "strength": finding.strength,
        "code": finding.code,
        "decisive": finding.decisive,
        "facts": dict(finding.facts),
        "entries": list(finding.entries),
        "until": _time(finding.until),
        "remedy": finding.remedy,
        "source": finding.source,
        "known": finding.known,
        "sentence": told.sentence,
        "to_do": told.remedy,
    }


def decision_as_data(
    decision: Decision, zone: str | None, names: Names, findings: Iterable[Finding]
) -> dict[str, Any]:
    """A decision with findings: all of its own, or those that are asked for."""
    return {
        "detector": decision.detector,
        "verdict": decision.verdict.value,
        "as_of": _time(decision.as_of),
        "until": _time(decision.until),
        "until_because": decision.until_because,
        "site": decision.site,
        "wearer": decision.wearer,
        "rules": decision.rules_id,
        "rules_version": decision.rules_version,
        "rules_digest": decision.rules_digest,
        "test": decision.test,
        "findings": [finding_as_data(finding, zone, names) for finding in findings],
    }


def _time(instant: Ms | None) -> str | None:
    return None if instant is None else text_of(instant)


def _row(row: GateRow, zone: str | None, names: Names, *, every: bool = True) -> dict[str, Any]:
    state, decision = row.state, row.decision
    return {
        **decision_as_data(decision, zone, names, decision.findings if every else decision.telling),
        "make": state.make,
        "model": state.model,
        "serial": state.serial,
        "holder": state.custody.holder if state.custody else None,
    }


def _question(request: HttpRequest, zone: str | None = None) -> asked.Asked:
    question = asked.read(request, zone=zone)
    if question.faults:
        raise EntryRefused(Fault(each.where, each.value, each.problem) for each in question.faults)
    return question


@api.get("gate", summary="What may go out: every detector with its decision and why, worst first")
def get_gate(
    request: HttpRequest,
    site: str = "",
    wearer: str = "",
    at: str = "",
    known: str = "",
    findings: Literal["telling", "all"] = "telling",
) -> HttpResponse:
    """``site``, ``wearer``: codes; ``at``: another moment; ``known``: an index or a time, as known then.
    ``findings``: ``telling`` (if left out) gives those that decided and those that warn, ``all`` gives all.
    """
    question = _question(request)
    every = findings == "all"
    told = gate(**question.arguments)
    names = Names([])
    names.read(
        subjects_in(
            finding
            for row in told.rows
            for finding in (row.decision.findings if every else row.decision.telling)
        )
    )
    zones = {site: zone_of(site) for site in {row.state.site for row in told.rows}}
    return large_answer(
        {
            "as_of": _time(told.as_of),
            "known_below": told.known_below,
            "site": told.site,
            "wearer": question.wearer,
            "findings": findings,
            "detectors": [_row(row, zones[row.state.site], names, every=every) for row in told.rows],
        },
    )


@api.get("detectors/{code}", summary="One detector: what the book says about it, and the decision")
def get_detector(
    request: HttpRequest, code: str, wearer: str = "", at: str = "", known: str = ""
) -> HttpResponse:
    """The folded state and the decision about one detector."""
    subject = code if code.startswith("detector:") else f"detector:{code}"
    present = Now().state(subject)
    if not isinstance(present, DetectorState):
        raise UnknownSubject(subject)
    zone = zone_of(present.site)
    question = _question(request, zone)
    row = gate_one(
        subject, now=question.now, at=question.at, wearer=question.wearer, known_below=question.known_below
    )
    data: Mapping[str, Any] = {
        **_row(row, zone, Names([])),
        "state": msgspec.to_builtins(row.state),
    }
    return answer(request, data)


@api.exception_handler(checkpoints.CheckpointRefused)
@api.exception_handler(proofs.NoProof)
@api.exception_handler(BadTree)
def _no_proof(request: HttpRequest, fault: ValueError) -> HttpResponse:
    return failure(request, 422, "refused", str(fault))


@api.get("checkpoint", summary="The newest checkpoint, as a signed note")
def get_checkpoint(request: HttpRequest) -> HttpResponse:
    """Plain text in the C2SP form; 404 where none was made yet."""
    found = checkpoints.kept(settings.CONFIG.home) if book.head().size else None
    if found is None:
        return failure(request, 404, "no-checkpoint", "There is no checkpoint yet.")
    response = HttpResponse(found.path.read_bytes(), content_type="text/plain; charset=utf-8")
    response["Cache-Control"] = "no-store"
    return response


@api.get("proof/inclusion", summary="That an entry stands in the book of a size")
def get_inclusion(request: HttpRequest, index: int, size: int | None = None) -> HttpResponse:
    """RFC 9162 section 2.1.3: the hashes in hex, lowest first. Without ``size``, that of the newest
    checkpoint."""
    if size is None:
        return answer(request, proving.entry_proof(index, settings.CONFIG.home).as_json())
    return answer(request, proofs.inclusion_json(index, size))


@api.get("proof/consistency", summary="That the book of one size begins with that of another")
def get_consistency(
    request: HttpRequest, to: int, old: int = param_functions.Query(..., alias="from")
) -> HttpResponse:
    """RFC 9162 section 2.1.4: the hashes in hex."""
    return answer(request, proofs.consistency_json(old, to))


@api.get("proof/subject", summary="That all entries about a subject are there, under the newest checkpoint")
def get_subject(request: HttpRequest, subject: str) -> HttpResponse:
    """Checkpoint, census, the entries 1 to n and the hashes that lead to them: docs/proofs.md. A code alone
    is that of a detector."""
    wanted = subject if ":" in subject else f"detector:{subject}"
    return large_answer(proving.subject_proof(wanted, settings.CONFIG.home).value)


@api.post("entries", summary="Write one entry")
def post_entry(request: HttpRequest) -> HttpResponse:
    """The body is one draft: a kind with its own fields; sealed texts as plain text; what can be worked out
    may be left out. 201 when written, 200 when it stood there already, 409 for the id of another entry, 422
    with every fault."""
    actor = actor_of(request)
    draft = _parsed(request.body, actor)
    kind = draft.get("kind")
    require_right(request, kind if isinstance(kind, str) else "")
    by = draft.get("by")
    if by is not None and by != actor.person:
        raise EntryRefused(
            [Fault(f"{kind}.by", str(by)[:80], "not the person who is signed in; leave it out")]
        )
    written = write(draft, actor, now=clock.now())
    data = {
        "id": written.entry_id,
        "index": written.index,
        "leaf_hash": written.leaf_hash.hex(),
        "again": written.again,
    }
    return answer(request, data, status=200 if written.again else 201)


@api.get("calc", summary="The calculations and the question that each answers")
def list_calculations(request: HttpRequest) -> HttpResponse:
    """Names and questions; ``/api/calc/NAME`` describes one."""
    return answer(request, {"calculations": dict(registry.LISTED)})


@api.get("calc/{name}", summary="JSON Schema of the request and the result of a calculation, with examples")
def describe_calculation(request: HttpRequest, name: str) -> HttpResponse:
    """What a calculation is asked and what it answers."""
    calculation = registry.load(name)
    examples = [{"title": each.title, "request": each.request} for each in calculation.examples]
    return answer(request, {**calculation.schema(), "examples": examples})


@api.post("calc/{name}", summary="Calculate: the request as one JSON object")
def post_calculation(request: HttpRequest, name: str) -> HttpResponse:
    """The same answer as ``pitbird calc NAME``; 422 with every fault. Nothing is written, the book is not
    read."""
    if len(request.body) > MOST_BYTES:
        raise definition.Refused([Fault(name, "", f"too long; at most {MOST_BYTES} bytes")])
    return answer(request, registry.answer(name, definition.parsed(request.body)))


def _parsed(data: bytes, actor: Actor) -> dict[str, Any]:
    """Strict JSON: no key twice, no floats, one object. Text that is JSON, but holds what the book cannot,
    is refused with all its other faults beside."""
    if len(data) > MOST_BYTES:
        raise EntryRefused([Fault("entry", "", "too long; send one entry at a time")])
    try:
        draft = parse(data)
    except NotJson as refused:
        place = f" (at {refused.where})" if refused.where else ""
        raise EntryRefused(
            [Fault("entry", "", f"{refused.what}{place}; send one JSON object in UTF-8")]
        ) from None
    except DuplicateKey as refused:
        problem = f"the key {refused.key!a} stands twice in one object; keep one of the two"
        raise EntryRefused([Fault(_place(refused), "", problem)]) from None
    except NotCanonical as refused:
        try:
            raw = json.loads(data)
        except (ValueError, RecursionError):
            raw = None
        if isinstance(raw, dict):
            prepare(raw, actor, clock.now())
        raise EntryRefused([Fault(_place(refused), "", refused.what)]) from None
    if not isinstance(draft, dict):
        raise EntryRefused([Fault("entry", "", "not an entry; an entry is an object with a 'kind'")])
    return draft


def _place(refused: NotCanonical) -> str:
    return refused.where.removeprefix("$").removeprefix(".") or "entry"


def _addresses() -> Any:
    """The API's addresses. They answer 401 themselves, in the API's own shape, instead of leading to the
    sign-in page; the description of the API stays behind it."""
    patterns, app_name, namespace = api.urls
    for pattern in patterns:
        if isinstance(pattern, URLPattern) and pattern.name != "openapi-json":
            pattern.callback.login_required = False  # type: ignore[attr-defined]
    return patterns, app_name, namespace


addresses: Final = _addresses()
