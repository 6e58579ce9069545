"""The fold of people, sites, rule sets, and of everything that is only described."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from hashlib import sha256
from typing import Any, Final

from msgspec.structs import replace

from pitbird.fleet.folding.item import Item, counted
from pitbird.fleet.state import EVENTS_KEPT, AdoptionFact, OtherState, PersonState, SiteState, TrainingFact
from pitbird.fleet.times import Ms, ms_of, text_of
from pitbird.record.canonical import canonical

TRAININGS_KEPT: Final = 24
#: In a book's description: everything before this instant may lack what was lost. Texts of one length.
LOST_BEFORE: Final = "lost_before"
_SILENT: Final = frozenset(
    {"note", "erasure", "handed-out", "handed-back", "issued-untested", "bump-test", "calibration"}
    | {"look-back", "key-changed", "audit-opened", "audit-closed"}
)


def fold_person(state: PersonState, item: Item) -> PersonState:
    """The person's state after one more entry about them."""
    body = item.body
    state = counted(state, item)
    if not item.counts:
        return replace(state, doubtful=(*state.doubtful, item.id)[-EVENTS_KEPT:])
    if item.kind == "person":
        return replace(
            state,
            described_by=item.id,
            name=body["name"],
            roles=tuple(body.get("roles", ())),
            home=body.get("home"),
            left=body.get("left"),
        )
    if item.kind == "training":
        return replace(state, trainings=(training_fact(item), *state.trainings)[:TRAININGS_KEPT])
    if item.kind in _SILENT:
        return state
    return replace(state, not_understood=(*state.not_understood, item.id)[-EVENTS_KEPT:])


def training_fact(item: Item) -> TrainingFact:
    """A training as a fact."""
    return TrainingFact(
        topic=item.body["topic"],
        at=item.order_at,
        until=item.body.get("valid_until"),
        entry=item.id,
        passed=item.body.get("result", "passed") == "passed",
    )


def fold_site(state: SiteState, item: Item) -> SiteState:
    """The site's state after one more entry about it."""
    body = item.body
    state = counted(state, item)
    if item.kind == "site":
        return replace(
            state,
            described_by=item.id,
            name=body["name"],
            zone=body["site_zone"],
            change_overs=tuple(body.get("change_overs", ("04:00",))),
        )
    if item.kind == "rules-adopted":
        # Rules cannot be adopted for the past: yesterday's tests were made under yesterday's rules.
        fact = AdoptionFact(
            since=max(ms_of(body["effective"]), item.order_at),
            rules=body["rules"],
            version=int(body["document"].get("version", 0)),
            digest=document_digest(body["document"]),
            entry=item.id,
        )
        adoptions = sorted((fact, *state.adoptions), key=lambda a: -a.since)
        return replace(state, adoptions=tuple(adoptions))
    if item.kind in _SILENT:
        return state
    return replace(state, not_understood=(*state.not_understood, item.id)[-EVENTS_KEPT:])


def document_digest(document: dict[str, object]) -> str:
    """SHA-256 over the canonical form of a rule document, in hex."""
    return sha256(canonical(document)).hexdigest()


def fold_other(state: OtherState, item: Item) -> OtherState:
    """A regulator, sensor, rule set, phone or the book after one more entry about it."""
    body = item.body
    state = counted(state, item)
    if item.kind == "rules-adopted":
        document = canonical(body["document"]).decode()
        description = {**state.description, document_digest(body["document"]): document}
        return replace(state, described_by=item.id, description=description)
    added = _ADDED.get(item.kind)
    if added is not None:
        return replace(state, description={**state.description, **added(item, state.description)})
    describe = _DESCRIBED.get(item.kind)
    if describe is not None:
        return replace(state, described_by=item.id, description=describe(body))
    if item.kind in _SILENT:
        return state
    return replace(state, not_understood=(*state.not_understood, item.id)[-EVENTS_KEPT:])


def _epoch(item: Item, before: Mapping[str, str]) -> dict[str, str]:
    """What others know, and when it came out here that a part of the book was lost: the latest of such times.

    That is when the entry was recorded. Its own time may lie before entries of this copy to which what was
    lost would have been news.
    """
    recorded = text_of(item.recorded_at)
    named = _texts("known_size", "known_root", "because")(item.body)
    return {**named, LOST_BEFORE: max(recorded, before.get(LOST_BEFORE, ""))}


def _texts(*names: str) -> Callable[[Mapping[str, Any]], dict[str, str]]:
    return lambda body: {name: str(body[name]) for name in names if name in body}


_DESCRIBED: Final = {
    "regulator": _texts("flow", "flow_l_min", "hose_m", "hose_s_per_m", "serial"),
    "sensor": _texts("gas", "principle", "serial", "made", "fitted_in", "channel"),
    "genesis": _texts("title", "format", "begun"),
    "device": _texts("alg", "key", "label", "site", "at"),
}
#: Of these the newest stands beside what the thing was described as.
_ADDED: Final[Mapping[str, Callable[[Item, Mapping[str, str]], dict[str, str]]]] = {
    "epoch": _epoch,
    "device-ended": lambda item, _: {"ended": item.body["at"], "because": item.body["because"]},
}


def lost_before(book: OtherState) -> Ms | None:
    """The instant before which a book restored from an older copy may lack entries; None for others."""
    if "known_size" not in book.description:
        return None
    told = book.description.get(LOST_BEFORE)
    return ms_of(told) if told else book.last_at  # folded before that instant was kept: never too early
