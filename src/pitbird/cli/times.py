"""Times as people write and read them: on the site's clock, always with the offset shown."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from pitbird.fleet.times import Ms, local, ms_from

_FORMS = "2026-03-02T06:40+00:00, or 2026-03-02T06:40 on the site's clock where a site is given"


def read_time(text: str, zone: str | None, *, field: str) -> Ms:
    """The instant that a person means. Raises ``ValueError`` with the line to show.

    With an offset it is taken as it stands; without one it is the site's wall time, and refused where no
    site is given, where clocks skip it, and where they show it twice.
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f"{field}: {text!r} is not a time; write it like {_FORMS}") from None
    if moment.tzinfo is not None:
        return ms_from(moment.astimezone(UTC))
    if zone is None:
        raise ValueError(f"{field}: {text!r} has no zone; write it like {_FORMS}")
    return _on_the_clock(moment, zone, text, field)


def _on_the_clock(moment: datetime, zone: str, text: str, field: str) -> Ms:
    here = ZoneInfo(zone)
    first = moment.replace(tzinfo=here, fold=0).astimezone(UTC)
    second = moment.replace(tzinfo=here, fold=1).astimezone(UTC)
    if first.astimezone(here).replace(tzinfo=None) != moment:
        raise ValueError(f"{field}: the clocks of {zone} skip {text!r}; give the offset too")
    if first != second:
        offsets = " or ".join(
            each.astimezone(here).isoformat(timespec="minutes")[-6:] for each in (first, second)
        )
        raise ValueError(f"{field}: the clocks of {zone} show {text!r} twice; add {offsets}")
    return ms_from(first)


def show_time(instant: Ms | int, zone: str | None, *, seconds: bool = False) -> str:
    """An instant on a site's clock with its offset, such as ``2026-03-02 06:40 +00:00``."""
    moment = local(Ms(instant), zone or "UTC")
    return moment.strftime(f"%Y-%m-%d %H:%M{':%S' if seconds else ''} ") + moment.isoformat()[-6:]
