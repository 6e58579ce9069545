"""Short names for the things of the book: D-017 for detector:D-017; unknown ones name those near them."""

from __future__ import annotations

import os
import re
from typing import TYPE_CHECKING

from pitbird.cli.refusing import Faults, near_words

if TYPE_CHECKING:
    from pitbird.services.writing import Actor

SORTS = ("detector", "cylinder", "person", "site", "regulator", "sensor", "rules", "book", "device")
CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")


def subject(sort: str, text: str) -> str:
    """``detector:D-017`` from ``D-017`` or from itself."""
    text = text.strip()
    return text if text.startswith(f"{sort}:") else f"{sort}:{text}"


def code(name: str | None) -> str:
    """``D-017`` from ``detector:D-017``."""
    return (name or "").partition(":")[2]


def known(sort: str, text: str, faults: Faults, *, field: str | None = None) -> str | None:
    """The subject if the book knows it; else None, with a fault that names those near it."""
    from pitbird.services.knowing import Now

    name = subject(sort, text)
    if CODE.fullmatch(code(name)) and Now().state(name) is not None:
        return name
    faults.add(f"{field or sort}: the book knows no {sort} {text!r}{_near(sort, name)}")
    return None


def _near(sort: str, name: str) -> str:
    from pitbird.store import book

    codes = [code(each) for each in book.subjects(sort)]
    said = near_words(code(name), codes)
    if said or not codes:
        return said or "; it has none yet"
    listed = ", ".join(codes[:8])
    return f"; it knows {listed}{' and more' if len(codes) > 8 else ''}"


def zone_of(site: str | None) -> str | None:
    """The zone of a site's clock, if the book knows it."""
    from pitbird.fleet.state import SiteState
    from pitbird.services.knowing import Now

    state = Now().state(site) if site else None
    return state.zone or None if isinstance(state, SiteState) else None


def writer(by: str | None, site: str | None, faults: Faults) -> tuple[Actor | None, str | None]:
    """Who writes and from which site's clock, and a line that says so where it was not said.

    ``--by``, else PITBIRD_BY, else the only keeper; ``--site``, else PITBIRD_SITE, else the person's home.
    """
    from pitbird.fleet.state import PersonState
    from pitbird.services.knowing import Now
    from pitbird.services.writing import Actor

    said = None
    by = by or os.environ.get("PITBIRD_BY")
    if by:
        person = known("person", by, faults, field="by")
    else:
        keepers = [one for one in Now().all_of(PersonState) if "keeper" in one.roles and one.left is None]
        person = keepers[0].subject if len(keepers) == 1 else None
        if person is None:
            names = ", ".join(code(one.subject) for one in keepers) or "none"
            faults.add(f"by: who writes is not said; give --by or PITBIRD_BY (keepers in the book: {names})")
        else:
            said = f"Written by {code(person)}, the only keeper in the book (--by names somebody else)."
    place = _place(site, person, faults)
    zone = zone_of(place)
    if place is not None and zone is None:
        faults.add(f"site: the book does not know the clock of {code(place)}; write its 'site' entry first")
    if person is None or place is None or zone is None:
        return None, said
    return Actor(person, place, zone), said


def _place(site: str | None, person: str | None, faults: Faults) -> str | None:
    from pitbird.fleet.state import PersonState
    from pitbird.services.knowing import Now

    site = site or os.environ.get("PITBIRD_SITE")
    if site:
        return known("site", site, faults)
    state = Now().state(person) if person else None
    if isinstance(state, PersonState) and state.home:
        return state.home
    if person is not None:
        faults.add(f"site: not given, and {code(person)} has no home site; give --site or PITBIRD_SITE")
    return None
