"""What every entry carries, and the small types that entries are made of."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from typing import Annotated, Any, ClassVar, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, model_validator

from pitbird.fleet.times import ms_of

_CODE = r":[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"
SUBJECT = "^(detector|sensor|cylinder|regulator|person|site|rules|book|device)" + _CODE
# [0-9], not \d: the latter takes the digits of every script.
INSTANT = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z$"
UUID7 = r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"
SEALED = r"^sha256:[0-9a-f]{64}$"
ROOT = r"^[0-9a-f]{64}$"
PUBLIC_KEY = r"^[A-Za-z0-9_-]{43,87}$"
DECIMAL = r"^-?(0|[1-9][0-9]{0,8})(\.[0-9]{1,6})?$"


def _real_instant(text: str) -> str:
    ms_of(text)  # raises ValueError; remembered for those who ask for it next
    return text


def _real_day(text: str) -> str:
    date.fromisoformat(text)
    return text


#: Names that mean another clock on another machine, or count leap seconds.
_NO_ZONES = ("localtime", "posixrules", "Factory", "posix/", "right/")


@lru_cache(maxsize=1024)
def _real_zone(text: str) -> str:
    try:
        if text.startswith(_NO_ZONES):
            raise ValueError(text)
        ZoneInfo(text)
    except (ZoneInfoNotFoundError, ValueError, OSError) as fault:
        raise ValueError(f"{text!r} is not a time zone; use an IANA name such as Europe/Lisbon") from fault
    return text


def _ref(kind: str) -> Any:
    return StringConstraints(pattern=f"^{kind}{_CODE}")


Subject = Annotated[str, StringConstraints(pattern=SUBJECT)]
DetectorRef = Annotated[str, _ref("detector")]
SensorRef = Annotated[str, _ref("sensor")]
CylinderRef = Annotated[str, _ref("cylinder")]
RegulatorRef = Annotated[str, _ref("regulator")]
PersonRef = Annotated[str, _ref("person")]
SiteRef = Annotated[str, _ref("site")]
RulesRef = Annotated[str, _ref("rules")]
DeviceRef = Annotated[str, _ref("device")]
EntryId = Annotated[str, StringConstraints(pattern=UUID7)]
Instant = Annotated[str, StringConstraints(pattern=INSTANT), AfterValidator(_real_instant)]
Day = Annotated[str, StringConstraints(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"), AfterValidator(_real_day)]
Zone = Annotated[str, AfterValidator(_real_zone)]
ClockTime = Annotated[str, StringConstraints(pattern=r"^([01][0-9]|2[0-3]):[0-5][0-9]$")]
Dec = Annotated[str, StringConstraints(pattern=DECIMAL)]
"""A measured value: a decimal string, never a float; its unit stands in the field's name or beside it."""
Sealed = Annotated[str, StringConstraints(pattern=SEALED)]
"""The commitment to a name, a free text or a photo that is kept outside the leaf."""
Name = Annotated[str, StringConstraints(min_length=1, max_length=120, strip_whitespace=True)]
YesNo = Literal["yes", "no"]
ChannelName = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9 ._-]{0,31}$")]
Unit = Literal["ppm", "vol_pct", "pct_lfl"]
LflBasis = Literal["iec-60079-20-1", "nfpa-497"]
Principle = Literal["catalytic", "infrared", "electrochemical", "oxygen", "photoionisation", "other"]


class Part(BaseModel):
    """A piece of an entry. Unknown fields are refused: a fact that nobody reads is a fact lost."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Phone(Part):
    """The phone on which an entry was written, and how it knew who held it.

    ``contact`` is the server's time when they last spoke, ``ahead_s`` how far the phone's clock was ahead of
    it then [s]; ``at`` is not put right by it.
    """

    device: DeviceRef
    known_by: Literal["pin", "account"]
    contact: Instant | None = None
    ahead_s: Dec | None = None


class Entered(Part):
    """An entry that another than the one who did it wrote down, in the place of one that came from a phone
    and could not be written. ``waiting`` is SHA-256 over what came, as it is kept in the waiting room."""

    by: PersonRef
    waiting: Annotated[str, StringConstraints(pattern=ROOT)]


class Body(Part):
    """What every entry says, whatever its kind.

    ``at`` is when it happened (UTC), ``zone`` the site's zone, ``by`` who did it, ``where`` the site,
    ``about`` every thing it is about, the first one foremost; it is worked out from the entry's own
    fields and may be left out when writing. ``v`` is the version of the kind's schema. ``phone`` stands in
    what was written on a phone, ``entered`` in what was written down for somebody else.
    """

    #: Fields that hold commitments to names, free text or photos.
    SEALED: ClassVar[tuple[str, ...]] = ()
    EXAMPLE: ClassVar[dict[str, Any]] = {}

    kind: str
    v: Literal[1] = 1
    id: EntryId
    at: Instant
    zone: Zone
    by: PersonRef
    where: SiteRef | None = None
    about: Annotated[tuple[Subject, ...], Field(max_length=5000)] = ()
    phone: Phone | None = None
    entered: Entered | None = None

    def subjects(self) -> tuple[str, ...]:
        """Every thing this entry is about, the first one foremost, none twice."""
        raise NotImplementedError

    @model_validator(mode="after")
    def _about_is_what_the_fields_name(self) -> Self:
        subjects = distinct(self.subjects())
        if not self.about:
            object.__setattr__(self, "about", subjects)
        elif self.about != subjects:
            raise ValueError(f"'about' must be {list(subjects)}, as the entry's own fields say; leave it out")
        return self

    def as_body(self) -> dict[str, Any]:
        """The body as plain JSON values, absent fields left out."""
        return self.model_dump(mode="json", exclude_none=True)


def distinct(subjects: tuple[str, ...]) -> tuple[str, ...]:
    """The same subjects in the same order, none twice."""
    return tuple(dict.fromkeys(subjects))


def common(number: int, at: str = "2026-03-02T06:41:00.000Z") -> dict[str, Any]:
    """The fields that every example shares."""
    return {
        "v": 1,
        "id": f"0195a000-0000-7000-8000-{number:012x}",
        "at": at,
        "zone": "Europe/Lisbon",
        "by": "person:P-07",
        "where": "site:north-works",
    }


KIND_NAME = re.compile(r"^[a-z][a-z-]{1,40}$")
