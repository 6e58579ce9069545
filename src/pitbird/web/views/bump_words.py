"""The words of the bump test page, for the page and for its script: checks, outcomes, reasons."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from django.utils.translation import gettext_lazy as _

from pitbird.fleet import bump
from pitbird.web.vocabulary import Word

CHECKS: Final[dict[str, Word]] = {
    "whole_and_clean": _("Whole and clean"),
    "inlets_clear": _("Inlets and filter clear"),
    "warmed_up": _("Warmed up"),
    "battery": _("Battery charged"),
    "cylinder_in_date": _("Cylinder in date"),
    "gauge_shows_pressure": _("Gauge shows pressure"),
    "hose_tight": _("Hose tight"),
}
SIGNALS: Final[dict[str, Word]] = {"sound": _("Sound"), "light": _("Light"), "vibration": _("Vibration")}
CLEARED: Final[dict[str, Word]] = {
    "readings": _("Readings are back to clean air"),
    "peaks": _("Peaks and time-weighted values are cleared"),
}
BECAUSE: Final[dict[str, Word]] = {
    "hood-slipped": _("Hood slipped"),
    "gas-ran-out": _("Gas ran out"),
    "broken-off": _("Broken off"),
    "wrong-gas": _("Wrong gas"),
    "not-every-channel": _("Not every channel got gas"),
    "other": _("Not everything was looked at"),
}
HEADINGS: Final[dict[str, Word]] = {"passed": _("Passed"), "failed": _("Failed"), "spoiled": _("Spoiled")}
ADVICE: Final[dict[str, Word]] = {
    "passed": _("Gas reached the sensors and the alarms came."),
    "failed": _("Do not use it. Tag it. Do not start the work that needs it."),
    "spoiled": _("This try proves nothing, and takes nothing away. The detector still needs a test."),
}
#: ``{what}`` is the channel, check or signal that the reason names.
REASONS: Final[dict[str, Word]] = {
    "check-failed": _("Before gas, not well: {what}."),
    "clean-air-wrong": _("{what} did not read right in clean air."),
    "not-reached": _("{what} did not reach its alarm."),
    "signal-silent": _("Did not come: {what}."),
    "not-cleared": _("Not so after gas: {what}."),
    "spoiled": _("{what}."),
    "nothing-to-show": _("No alarm of this detector is described as one that gas must show."),
    "no-signal-fitted": _("No signal is described for this detector."),
    "check-missing": _("Not looked at: {what}."),
    "gas-check-failed": _("The gas was not in order: {what}: no."),
    "clean-air-missing": _("{what} was not looked at in clean air."),
    "not-exposed": _("{what} was not shown gas, or nobody said whether its alarm came."),
    "not-counted": _(
        "{what} did not reach its alarm; it does not count, since the gas may not have arrived."
    ),
    "unknown-channel": _("{what} is no channel of this detector."),
    "signal-missing": _("Nobody said whether it came: {what}."),
    "cleared-missing": _("Not looked at after gas: {what}."),
}
_SCRIPT: Final[dict[str, Word]] = {
    "gas_on": _("Gas is on."),
    "gas_off": _("Gas is off."),
    "seconds": _("{n} seconds"),
    "after": _("after {n} s"),
    "open": _("Not finished"),
    "open_advice": _("Answer what stands above. What nobody looked at makes the try spoiled."),
    "clock": _(
        "It is {n} min away from the book's on this device. The times of gas are taken from the book's "
        "clock. Have the device's clock set right."
    ),
    "left_off": _("Left off {n} min ago."),
    "no_cylinder": _("Choose the cylinder first."),
}
_EVERY_WORD: Final[Mapping[str, Word]] = {**CHECKS, **SIGNALS, **CLEARED, **BECAUSE}


def alarm(name: str, at: str, unit: str) -> str:
    """``high alarm (10 ppm)``."""
    return str(_("%(name)s alarm (%(at)s\u00a0%(unit)s)")) % {
        "name": name,
        "at": at,
        "unit": unit.replace(" ", "\u00a0"),
    }


def sentence(reason: str) -> str:
    """A reason of an outcome (``not-reached:H2S``) in words; one without words is given as it is."""
    name, _colon, what = reason.partition(":")
    pattern = REASONS.get(name)
    return str(pattern).replace("{what}", str(_EVERY_WORD.get(what, what))) if pattern else reason


def told(reasons: Iterable[str], because: str | None) -> list[str]:
    """Reasons in words; once a try was given up, what else nobody looked at is no news."""
    return [
        sentence(reason)
        for reason in reasons
        if because not in bump.GAS_DID_NOT_ARRIVE
        or not reason.partition(":")[0].endswith(("-missing", "not-exposed"))
    ]


def for_script() -> dict[str, Any]:
    """All words that the page's script puts together, as plain text."""
    groups: dict[str, Mapping[str, Word]] = {
        "reasons": REASONS, "what": _EVERY_WORD, "headings": HEADINGS, "advice": ADVICE, "say": _SCRIPT,
    }  # fmt: skip
    return {name: {key: str(text) for key, text in words.items()} for name, words in groups.items()}
