"""All that stands in an entry, as pairs of term and value: a printed form."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext as _

from pitbird.fleet.kinds.base import INSTANT, SEALED, SUBJECT
from pitbird.fleet.times import ms_of
from pitbird.services import people
from pitbird.store import book
from pitbird.web import names as naming
from pitbird.web import times
from pitbird.web.names import Names
from pitbird.web.sentences import OWN_WORDS
from pitbird.web.vocabulary import FIELD_WORDS, VALUE_WORDS, field_word, word

_SUBJECT = re.compile(SUBJECT)
_INSTANT = re.compile(INSTANT)
_SEALED = re.compile(SEALED)
_ENTRY = re.compile(r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$")
_DAY = re.compile(r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$")
#: Fields that the page says elsewhere: in its sentence, its margin or at its foot.
_SAID: Final = frozenset({"kind", "v", "id", "at", "zone", "by", "where", "about"})
#: The order in which a form lists what stands in an entry: as the kinds name their fields, the thing first.
_FIRST: Final = ("kind", "detector", "cylinder", "person", "site", "channel", "name", "gas", "regulator")
_ORDER: Final = {name: place for place, name in enumerate(dict.fromkeys((*_FIRST, *FIELD_WORDS)))}


@dataclass(frozen=True)
class Fact:
    """One line of a printed form: a label and its value, or its parts."""

    label: str
    text: str = ""
    link: str = ""
    keyed: bool = False
    withheld: bool = False
    parts: tuple[tuple[Fact, ...], ...] = ()
    lines: tuple[str, ...] = ()

    @property
    def plain(self) -> bool:
        """Whether it is one label and one short text."""
        return not (self.parts or self.lines or self.withheld)


def sealed_in(value: Any) -> list[str]:
    """Every commitment in a body, wherever it stands."""
    if isinstance(value, Mapping):
        return [found for part in value.values() for found in sealed_in(part)]
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [found for part in value for found in sealed_in(part)]
    return [value] if isinstance(value, str) and _SEALED.match(value) else []


def unsealed(bodies: Sequence[Mapping[str, Any]], *, withhold: bool) -> dict[str, str]:
    """The sealed texts of bodies that are still there, or for each that it is withheld."""
    sealed = [found for body in bodies for found in sealed_in(body)]
    return dict.fromkeys(sealed, _("(withheld from this reader)")) if withhold else people.texts(sealed)


def facts(body: Mapping[str, Any], names: Names, *, withhold: bool = False) -> tuple[Fact, ...]:
    """Everything a body says, as lines of a printed form; sealed texts opened or said to be withheld."""
    opened = unsealed([body], withhold=withhold)
    zone = body.get("zone") or times.UTC_NAME
    return _facts(body, names, opened, zone, top=True)


def _gathered(label: str, parts: list[tuple[Fact, ...]], *, single: bool = False) -> Fact:
    """Parts as lines where each is short, else as forms of their own."""
    if not all(fact.plain for part in parts for fact in part):
        return Fact(label, parts=tuple(parts))
    if single:
        return Fact(label, lines=tuple(f"{fact.label}: {fact.text}" for fact in parts[0]))
    return Fact(label, lines=tuple(_line(part) for part in parts))


def _line(part: tuple[Fact, ...]) -> str:
    """``CH4; alarm came: yes; after, s: 8``: the first value stands for itself."""
    first, *rest = part
    return "; ".join(
        [first.text, *(f"{fact.label[:1].lower()}{fact.label[1:]}: {fact.text}" for fact in rest)]
    )


def _facts(
    body: Mapping[str, Any], names: Names, opened: Mapping[str, str], zone: str, *, top: bool
) -> tuple[Fact, ...]:
    found = []
    for key, value in sorted(body.items(), key=lambda pair: _ORDER.get(pair[0], len(_ORDER))):
        if top and key in _SAID:
            continue
        if key == "document":
            text = f"{value.get('title') or value.get('id', '')}, {_('version')} {value.get('version', '')}"
            found.append(Fact(field_word(key), text))
        else:
            found.append(fact_of(key, value, names, opened, zone))
    return tuple(found)


def fact_of(key: str, value: Any, names: Names, opened: Mapping[str, str], zone: str) -> Fact:
    """One field of an entry as a line of the form."""
    label = field_word(key)
    if isinstance(value, Mapping):
        return _gathered(label, [_facts(value, names, opened, zone, top=False)], single=True)
    if isinstance(value, list | tuple):
        if value and all(isinstance(each, Mapping) for each in value):
            return _gathered(label, [_facts(each, names, opened, zone, top=False) for each in value])
        said = [fact_of(key, each, names, opened, zone).text for each in value]
        return Fact(label, ", ".join(said))
    if not isinstance(value, str):
        return Fact(label, word(str(value)))
    if _SEALED.match(value):
        text = opened.get(value)
        return Fact(
            label,
            text or _("withheld: this text was erased, its place in the book stands"),
            withheld=text is None,
        )
    if _SUBJECT.match(value):
        return Fact(
            label, names(value), naming.address(value), keyed=naming.sort(value) not in {"person", "site"}
        )
    if _INSTANT.match(value):
        return Fact(label, times.shown(ms_of(value), zone, form="D j M Y, H:i:s"))
    if _ENTRY.match(value):
        row = book.by_id(value)
        return (
            Fact(label, _("entry %d") % row.index, f"/book/{row.index}")
            if row
            else Fact(label, value, keyed=True)
        )
    if _DAY.match(value):
        return Fact(label, times.day_shown(value))
    if key in OWN_WORDS:
        return Fact(label, value, keyed=key in {"serial", "lot", "certificate", "sensor_serial"})
    return Fact(label, word(value) if value in VALUE_WORDS else value)


# --- One sentence for each kind
