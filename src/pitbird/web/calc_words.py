"""Names of the fields of calculations in words, with the unit that the name ends with, and their values."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

from django.utils.translation import gettext as _

#: Ends of names and the unit that they mean; the longer ones first.
_UNITS: Final = (
    ("_h_per_day", "h/day"), ("_m3_min", "m³/min"), ("_kj_mol", "kJ/mol"), ("_cm2_s", "cm²/s"),
    ("_vol_pct", "% vol"), ("_pct_lfl", "%LFL"), ("_per_day", "/day"), ("_per_year", "/year"),
    ("_per_h", "/h"), ("_l_min", "L/min"), ("_s_per_m", "s/m"),
    ("_minutes", "min"), ("_ppm", "ppm"), ("_bar", "bar"), ("_days", "days"), ("_m3", "m³"), ("_pct", "%"),
    ("_below_c", "°C"), ("_c", "°C"), ("_l", "L"), ("_h", "h"), ("_s", "s"), ("_m", "m"),
)  # fmt: skip
#: What cannot be read off the name.
_LABELS: Final = {
    "pct_lfl": ("Share of the LFL", "%LFL"),
    "vol_pct": ("Amount", "% vol"),
    "vol_pct_min": ("Least", "% vol"),
    "ppm": ("Amount", "ppm"),
    "t_s": ("Times", "s"),
    "at": ("Set at", ""),
    "oxygen_vol_pct_min": ("Least oxygen", "% vol"),
    "twa_15min_ppm": ("Highest 15-minute mean", "ppm"),
    "twa_8h_ppm": ("8-hour mean", "ppm"),
    "drift_pct_per_1000_h": ("Mean drift", "% per 1000 h"),
    "drift_pct_per_year": ("Mean drift", "% per year"),
    "tests_left": ("Tests left", ""),
    "condensation_below_c": ("Condenses below", "°C"),
    "basis": ("Basis of the LFL", ""),
    "required_probability": ("Probability that is asked for", ""),
    "span_sd_pct": ("Standard deviation of the span", "%"),
    "n_failures": ("Failures", ""),
    "n_censored": ("Still good", ""),
    "suits": ("Sets off every alarm that gas must show", ""),
    "trips": ("Comes in time", ""),
    "undetected_loss": ("Loss this test can miss", ""),
    "log_likelihood": ("Log-likelihood", ""),
    "certificate": ("Below the maximum by at most, each", ""),
    "converged": ("A finite estimate", ""),
    "interval_method": ("How the limits were made", ""),
    "exposure_days": ("Time known good", "days"),
    "rate_low": ("Rate, lower limit", "/day"),
    "rate_high": ("Rate, upper limit", "/day"),
    "posterior_mean": ("With the prior: mean rate", "/day"),
    "posterior_median": ("With the prior: median rate", "/day"),
    "posterior_low": ("With the prior: lower limit", "/day"),
    "posterior_high": ("With the prior: upper limit", "/day"),
    "shape_low": ("Shape, lower limit", ""),
    "shape_high": ("Shape, upper limit", ""),
    "scale_low_days": ("Scale, lower limit", "days"),
    "scale_high_days": ("Scale, upper limit", "days"),
    "one_in": ("Found failed, one in", ""),
    "mean_untested_days": ("Mean time untested", "days"),
    "worth_failures": ("Worth so many failures", ""),
    "worth_days": ("Worth so much time", "days"),
    "record_failures": ("Failures of the record", ""),
    "record_days": ("Time of the record", "days"),
    "weight_fraction": ("Its share of the time", ""),
    "failures_fraction": ("Its share of the failures", ""),
    "at_odds": ("Its rate against the limits of the record", ""),
    "rate_days": ("Weighs so many days", "days"),
    "limits": ("Exposure limits", ""),
    "hose_m": ("Hose", "m"),
    "hose_s_per_m": ("Time in the hose, each metre", "s/m"),
    "hose_delay_s": ("Time in the hose", "s"),
    "regulator_l_min": ("Flow of the regulator, if fixed", "L/min"),
    "pump_l_min": ("What the pump draws", "L/min"),
    "first_fail": ("First failed", ""),
    "last_pass": ("Last passed", ""),
}
#: Signs that keep their small letter.
_SIGNS: Final = re.compile(r"t\d\d\b")
_WORDS: Final = {
    "lfl": "LFL", "ufl": "UFL", "twa": "TWA", "stel": "STEL", "rmse": "RMS error", "m3": "m³",
    "sd": "standard deviation", "se": "standard error of",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Words:
    """A field's name in words and its unit, "" where it has none."""

    label: str
    unit: str


@lru_cache(maxsize=512)
def words_of(field: str) -> Words:
    """``gas_on_s`` as ``Gas on`` in ``s``."""
    if field in _LABELS:
        return Words(*_LABELS[field])
    stem, unit = field, ""
    for end, means in _UNITS:
        if field.endswith(end):
            stem, unit = field.removesuffix(end), means
            break
    text = " ".join(_WORDS.get(word, word) for word in stem.split("_"))
    return Words(text if _SIGNS.match(text) else text[:1].upper() + text[1:], unit)


def value_shown(value: Any, field: str = "") -> str:
    """A value of a result for people: four significant figures, shares in per cent, words for yes and no."""
    if value is None:
        if field == "at_odds":
            return _("within them")
        return _("never") if field.startswith("time_") else _("none")
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    if isinstance(value, float | int):
        return _per_cent(value) if _is_share(field) else number_shown(value)
    if isinstance(value, list | tuple):
        return ", ".join(value_shown(each, field) for each in value)
    return str(value)


def _is_share(field: str) -> bool:
    return (
        field.startswith("probability")
        or field.endswith(("_loss", "_fraction", "_probability"))
        or ("_probability_" in field)
    )


def _per_cent(share: float) -> str:
    text = number_shown(100 * share)
    return "> 99.99 %" if text == "100" and share < 1 else f"{text} %"


def number_shown(value: float) -> str:
    """Four significant figures; powers of ten only where zeros would fill the line."""
    if isinstance(value, int) or (value == int(value) and abs(value) < 1e9):
        return f"{int(value):,}".replace(",", "\u202f") if abs(value) >= 10_000 else str(int(value))
    if 1e-4 <= abs(value) < 1e6:
        digits = max(0, 3 - math.floor(math.log10(abs(value))))
        text = f"{value:.{digits}f}"
        return text.rstrip("0").rstrip(".") if "." in text else text
    base, _e, power = f"{value:.3e}".partition("e")
    superscript = str(int(power)).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
    base = base.rstrip("0").rstrip(".")
    return f"{base} × 10{superscript}"
