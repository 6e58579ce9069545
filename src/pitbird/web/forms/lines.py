"""Parts of a channel that are typed as lines of text: its alarms, and what it reads in other gases."""

from __future__ import annotations

import re
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

from pitbird.fleet.state import ChannelFact


def read_alarms(text: str) -> list[dict[str, str]]:
    """Alarms, one a line: name, set-point, ``rising`` or ``falling``, ``gas``, ``self-check`` or ``none``.

    What is left out: rising, and shown by gas. A word that is not understood is refused with its line.
    """
    alarms = []
    for number, line in enumerate(text.splitlines(), start=1):
        words = [part for part in re.split(r"[\s;]+", line.strip()) if part]
        if not words:
            continue
        if len(words) < 2:
            raise ValidationError(
                _("Line %(number)d: write the alarm's name and its set-point, such as: low 5")
                % {"number": number}
            )
        alarm = {"name": words[0].lower(), "at": words[1]}
        for extra in (each.lower() for each in words[2:]):
            if extra in ("rising", "falling") and "direction" not in alarm:
                alarm["direction"] = extra
            elif extra in ("gas", "self-check", "none") and "shown_by" not in alarm:
                alarm["shown_by"] = extra
            else:
                raise ValidationError(
                    _("Line %(number)d: “%(word)s” is not understood. After the set-point may stand: "
                      "rising or falling, then gas, self-check or none.") % {"number": number, "word": extra}
                )  # fmt: skip
        alarms.append(alarm)
    return alarms


def write_alarms(channel: ChannelFact) -> str:
    """Alarms as ``read_alarms`` reads them."""
    return "\n".join(f"{a.name} {a.at} {a.direction} {a.shown_by}" for a in channel.alarms)


class AlarmsField(forms.CharField):
    """Alarms, one a line."""

    def clean(self, value: Any) -> list[dict[str, str]]:
        """The alarms as an entry holds them."""
        return read_alarms(super().clean(value))


_WORKED: Final = re.compile(r"(?P<amount>\S+)\s+(?P<unit>\S+)\s+(?P<gas>.+?)\s+reads\s+(?P<reads>\S+)")


def read_other_gases(text: str) -> list[dict[str, str]]:
    """Worked readings, one a line: ``50 pct_lfl propane reads 39``."""
    read = []
    for line in text.splitlines():
        if not line.strip():
            continue
        found = _WORKED.fullmatch(line.strip())
        if found is None:
            raise ValidationError(
                _("“%(line)s” cannot be read. Write: 50 pct_lfl propane reads 39") % {"line": line.strip()}
            )
        read.append(found.groupdict())
    return read


def write_other_gases(channel: ChannelFact) -> str:
    """Worked readings as ``read_other_gases`` reads them."""
    return "\n".join(f"{o.amount} {o.unit} {o.gas} reads {o.reads}" for o in channel.other_gases)


class OtherGasesField(forms.CharField):
    """What a channel reads in other gases, one a line."""

    def clean(self, value: Any) -> list[dict[str, str]]:
        """The worked readings as an entry holds them."""
        return read_other_gases(super().clean(value))
