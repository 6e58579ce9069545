"""Paper slips: a bump test written down by hand where phones are barred, to be entered later."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from pitbird.papers.typesetting import Paper, qr, typeset

#: What is ticked before gas, in the words of the test page.
_BEFORE: Final = (
    "whole and clean", "inlets clear", "warmed up", "battery", "hose tight", "gauge shows pressure",
    "cylinder in date",
)  # fmt: skip
_AFTER: Final = ("readings back to clean air", "peaks and averages cleared")
#: So many channels have room on half a page.
_HALF_PAGE: Final = 4


@dataclass(frozen=True)
class Channel:
    """One line of a slip: the channel, its clean-air reading, and the alarm that gas must show."""

    name: str
    clean_air: str
    alarm: str


@dataclass(frozen=True)
class Slip:
    """One slip: its number, the detector, what it warns by."""

    number: str
    scanned: str
    code: str
    what: str
    channels: tuple[Channel, ...]
    signals: tuple[str, ...]


def print_slips(slips: Sequence[Slip], *, site: str, made_at: datetime, paper: Paper = "a4") -> bytes:
    """Slips as PDF, two on a page where both have few channels.

    Raises ValueError where there is none to print.
    """
    if not slips:
        raise ValueError("slips: there is nothing to print; name at least one detector")
    data = {
        "title": f"Slips for bump tests: {site}",
        "lang": "en-GB",
        "site": site,
        "before": list(_BEFORE),
        "after": list(_AFTER),
        "pages": [[_drawn(slip) for slip in page] for page in _pages(slips)],
    }
    return typeset("slips", data, made_at=made_at, paper=paper)


def _pages(slips: Sequence[Slip]) -> list[list[Slip]]:
    pages: list[list[Slip]] = []
    for slip in slips:
        last = pages[-1] if pages else []
        if len(last) == 1 and all(len(each.channels) <= _HALF_PAGE for each in (*last, slip)):
            last.append(slip)
        else:
            pages.append([slip])
    return pages


def _drawn(slip: Slip) -> dict[str, object]:
    return {
        "number": slip.number,
        "code": slip.code,
        "what": slip.what,
        "qr": qr(slip.scanned),
        "alt": f"QR code: {slip.scanned}",
        "signals": list(slip.signals),
        "channels": [
            {"name": each.name, "clean": each.clean_air, "alarm": each.alarm} for each in slip.channels
        ],
    }
