"""Who is signed in, as a writer in the book, and what they may write."""

from __future__ import annotations

from typing import Final

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest

from pitbird.fleet.state import PersonState, SiteState
from pitbird.fleet.times import local
from pitbird.services import clock
from pitbird.services.knowing import Now
from pitbird.services.writing import Actor
from pitbird.store.models import Login
from pitbird.web.times import UTC_NAME

#: Who may write a kind: any one of these roles. Kinds that are not named here may be written by anybody
#: who is signed in: taking a detector out of use is never barred to anyone.
RIGHTS: Final[dict[str, frozenset[str]]] = {
    "genesis": frozenset(),
    "erasure": frozenset(),
    "epoch": frozenset(),
    "key-changed": frozenset(),
    "audit-opened": frozenset(),
    "audit-closed": frozenset(),
    "device": frozenset(),
    "device-ended": frozenset(),
    "site": frozenset({"keeper"}),
    "person": frozenset({"keeper"}),
    "detector": frozenset({"keeper"}),
    "sensor": frozenset({"keeper", "competent"}),
    "regulator": frozenset({"keeper", "competent"}),
    "cylinder": frozenset({"keeper", "competent"}),
    "cylinder-released": frozenset({"keeper", "competent"}),
    "rules-adopted": frozenset({"keeper"}),
    "correction": frozenset({"keeper"}),
    "issued-untested": frozenset({"keeper"}),
    "returned-to-service": frozenset({"keeper", "competent"}),
    "repaired": frozenset({"keeper", "competent"}),
    "calibration": frozenset({"keeper", "competent"}),
    "training": frozenset({"keeper", "trainer"}),
    "look-back": frozenset({"keeper", "competent"}),
}


class NoPerson(PermissionDenied):
    """The account is not bound to a person in the book, so nothing can be written by it."""


def login_of(request: HttpRequest) -> Login:
    """The signed-in account's place in the book. Raises ``NoPerson`` for an account without one."""
    if not request.user.is_authenticated:
        raise NoPerson("not signed in")
    login = Login.objects.filter(user_id=request.user.pk).first()
    if login is None:
        raise NoPerson("this account is not bound to a person in the book")
    return login


def actor_of(request: HttpRequest, site: str | None = None) -> Actor:
    """The signed-in person as writer, on the clock of ``site``, else of their own site.

    Raises ``NoPerson`` for an account that is no person in the book, or whose person has left.
    """
    login = login_of(request)
    where = site or login.site or None
    zone = zone_of(where)
    state = Now().state(login.person)
    today = local(clock.now(), zone).date().isoformat()
    if isinstance(state, PersonState) and state.left is not None and state.left < today:
        raise NoPerson("who has left writes no more")
    return Actor(login.person, where, zone)


def zone_of(site: str | None) -> str:
    """The clock of a site; UTC while none is known."""
    state = Now().state(site) if site else None
    return state.zone if isinstance(state, SiteState) and state.zone else UTC_NAME


def roles_of(request: HttpRequest) -> frozenset[str]:
    """The roles of the signed-in person as the book has them now; none for an account that is no person."""
    try:
        person = login_of(request).person
    except NoPerson:
        return frozenset()
    state = Now().state(person)
    return frozenset(state.roles) if isinstance(state, PersonState) else frozenset()


def may_write(kind: str, roles: frozenset[str]) -> bool:
    """Whether somebody with these roles may write a kind of entry."""
    wanted = RIGHTS.get(kind)
    return wanted is None or bool(wanted & roles)


def require_keeper(request: HttpRequest) -> Actor:
    """The signed-in keeper as writer; refuse (403) everybody else, and a keeper who has left."""
    actor = actor_of(request)
    if "keeper" not in roles_of(request):
        raise PermissionDenied("keeper")
    return actor


def require_right(request: HttpRequest, kind: str) -> None:
    """Refuse (403) a kind that the signed-in person may not write, or an account without a person."""
    actor_of(request)
    if not may_write(kind, roles_of(request)):
        raise PermissionDenied(kind)
