"""What an address asks for: as of when, as known when, where, who."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext as _

from pitbird.fleet.times import Ms
from pitbird.services import clock
from pitbird.services.gate import size_known_at
from pitbird.services.knowing import Now
from pitbird.web import times
from pitbird.web.names import code
from pitbird.web.who import NoPerson, login_of, zone_of


class BadQuestion(ValueError):
    """The address asks for something that cannot be read; ``where`` names the parameter."""

    def __init__(self, where: str, value: str, problem: str) -> None:
        super().__init__(f"{where} = {value}: {problem}")
        self.where = where
        self.value = value
        self.problem = problem


@dataclass(frozen=True)
class Asked:
    """The gate's question: ``at`` and ``known_below`` are None for now and for all that is known."""

    now: Ms
    zone: str
    site: str | None
    wearer: str | None
    at: Ms | None
    known_below: int | None
    faults: tuple[BadQuestion, ...] = ()

    @property
    def as_of(self) -> Ms:
        """The moment that is decided about."""
        return self.now if self.at is None else self.at

    @property
    def past(self) -> bool:
        """Whether this is another moment, or another knowledge, than the present."""
        return self.at is not None or self.known_below is not None

    @property
    def arguments(self) -> dict[str, Any]:
        """What the gate takes."""
        return {
            "now": self.now,
            "at": self.at,
            "site": self.site,
            "wearer": self.wearer,
            "known_below": self.known_below,
        }


def read(request: HttpRequest, *, zone: str | None = None) -> Asked:
    """Read ``site``, ``wearer``, ``at`` and ``known`` from the address, with every fault in them."""
    now = clock.now()
    faults: list[BadQuestion] = []
    site = _subject(request, "site", faults)
    wearer = _subject(request, "wearer", faults, sort="person")
    here = zone or (zone_of(site) if site else zone_here(request))
    at = _instant(request.GET.get("at", "").strip(), "at", here, faults)
    known = request.GET.get("known", "").strip()
    below: int | None = None
    if known.isascii() and known.isdigit() and len(known) < 18:
        below = int(known)
    elif known:
        moment = _instant(known, "known", here, faults)
        below = size_known_at(moment) if moment is not None else None
    return Asked(now, here, site, wearer, at, below, tuple(faults))


def zone_here(request: HttpRequest) -> str:
    """The clock of the signed-in person's site."""
    try:
        return zone_of(login_of(request).site or None)
    except NoPerson:
        return times.UTC_NAME


def _subject(request: HttpRequest, name: str, faults: list[BadQuestion], sort: str = "") -> str | None:
    value = request.GET.get(name, "").strip()
    if not value:
        return None
    subject = value if ":" in value else f"{sort or name}:{value}"
    if subject.partition(":")[0] != (sort or name) or Now().state(subject) is None:
        faults.append(BadQuestion(name, code(value)[:80], _("the book knows none of this name")))
        return None
    return subject


def _instant(text: str, name: str, zone: str, faults: list[BadQuestion]) -> Ms | None:
    if not text:
        return None
    try:
        # Of two readings of a doubtful hour the later one: more of the passes have ended by then.
        return times.read_typed(text.replace(" ", "+") if "T" in text else text, zone, later=True)
    except times.NoSuchTime as fault:
        faults.append(BadQuestion(name, text[:80], str(fault)))
        return None
