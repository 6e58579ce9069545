"""The invented undertaking's things, as plain data: sites, types of detector, gases, places to test.

Makes, models, places and numbers are made up. Alarm set-points, ranges and response times are common
practice (no source) and stand here only so that the demo has something to work on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

TITLE: Final = "Lumbrel Water and Biogas: portable gas detectors"


@dataclass(frozen=True, slots=True)
class Place:
    """A site: its clock, how diligent it is, and on which weekdays it works how much."""

    id: str
    name: str
    zone: str
    opens: int
    """Minutes after local midnight at which the first test of the day begins."""
    late: float
    """Share of entries that reach the book hours or a day after the fact."""
    forgets: float
    """Share of monthly checks of idle detectors that are not made on the day they are due."""
    week: tuple[float, ...]
    """Share of the usual work on each weekday, Monday first."""


_WORKS: Final = (1.0, 1.0, 1.0, 1.0, 0.95, 0.12, 0.04)
_PLANT: Final = (1.0, 1.0, 1.0, 1.0, 1.0, 0.3, 0.2)

SITES: Final[tuple[Place, ...]] = (
    Place("site:tarvela-works", "Tarvela water works", "Europe/Lisbon", 380, 0.012, 0.1, _WORKS),
    Place("site:ombrel-digesters", "Ombrel digesters", "Europe/Lisbon", 365, 0.012, 0.1, _PLANT),
    Place("site:ribalva-sewers", "Ribalva island sewers", "Atlantic/Azores", 410, 0.05, 0.85, _WORKS),
    Place("site:hulmar-workshop", "Hulmar workshop", "Europe/Lisbon", 430, 0.008, 0.05, _WORKS),
)


@dataclass(frozen=True, slots=True)
class Gas:
    """A gas channel as this fleet has it. ``after_s``: usual seconds from gas on to the highest alarm."""

    name: str
    gas: str
    principle: str
    unit: str
    range_high: str
    clean_air: str
    tolerance: str
    t90_s: str
    alarms: tuple[tuple[str, str, str, str], ...]
    mix: str
    applied: str
    """The usual test gas in the channel's own unit, as its certificate amounts to."""
    step_to_alarm: float
    """(highest alarm - clean air) / (test gas - clean air): the share of sensitivity an alarm needs."""
    after_s: float
    clean_readings: tuple[str, ...]
    life_years: float
    """Weibull scale of wear-out (shape 3)."""
    sudden_per_year: float

    def described(self) -> dict[str, Any]:
        """The channel as a detector's description holds it."""
        channel: dict[str, Any] = {
            "name": self.name,
            "gas": self.gas,
            "principle": self.principle,
            "unit": self.unit,
            "range_high": self.range_high,
            "clean_air": self.clean_air,
            "clean_air_tolerance": self.tolerance,
            "alarms": [
                {"name": name, "at": at, "direction": direction, "shown_by": shown_by}
                for name, at, direction, shown_by in self.alarms
            ],
            "t90_s": self.t90_s,
        }
        if self.unit == "pct_lfl":
            channel["lfl_basis"] = "iec-60079-20-1"
        return channel


def _rising(low: str, high: str) -> tuple[tuple[str, str, str, str], ...]:
    return (("low", low, "rising", "gas"), ("high", high, "rising", "gas"))


# 1.6 vol % methane is 36 %LFL on the LFL of IEC 60079-20-1 (4.4 vol %), and lies between 1.2 and 2.0 times
# the highest alarm (BG RCI FAQ 2.9, method 1); oxygen at 16 vol % is about 0.9 times the lowest.
CH4: Final = Gas(
    "CH4", "methane", "catalytic", "pct_lfl", "100", "0", "2", "20", _rising("10", "20"),
    "four", "36", 0.55, 7.0, ("0", "0", "0", "0", "1"), 7.0, 0.05,
)  # fmt: skip
O2: Final = Gas(
    "O2", "oxygen", "oxygen", "vol_pct", "30", "20.9", "0.5", "15",
    (
        ("low", "19.5", "falling", "gas"),
        ("low-low", "18", "falling", "gas"),
        ("high", "23.5", "rising", "none"),
    ),
    "four", "16", 0.59, 5.8, ("20.9", "20.9", "20.8", "21.0", "20.9"), 3.6, 0.05,
)  # fmt: skip
CO: Final = Gas(
    "CO", "carbon monoxide", "electrochemical", "ppm", "500", "0", "3", "30", _rising("30", "60"),
    "four", "100", 0.60, 12.0, ("0", "0", "0", "0", "1"), 6.0, 0.04,
)  # fmt: skip
H2S: Final = Gas(
    "H2S", "hydrogen sulfide", "electrochemical", "ppm", "100", "0", "1", "30", _rising("5", "10"),
    "four", "20", 0.50, 9.1, ("0", "0", "0", "0", "0"), 5.0, 0.09,
)  # fmt: skip
CO2: Final = Gas(
    "CO2", "carbon dioxide", "infrared", "vol_pct", "5", "0.04", "0.1", "30", _rising("0.5", "1.5"),
    "dioxide", "2.5", 0.60, 12.0, ("0.04", "0.05", "0.04", "0.06", "0.04"), 11.0, 0.03,
)  # fmt: skip
NH3: Final = Gas(
    "NH3", "ammonia", "electrochemical", "ppm", "100", "0", "2", "60", _rising("25", "35"),
    "ammonia", "50", 0.70, 31.0, ("0", "0", "0", "1", "0"), 3.2, 0.1,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Type:
    """A type of detector. ``use``: share of working days on which one of them is taken out."""

    key: str
    make: str
    model: str
    prefix: str
    draws: str
    firmware: str | None
    signals: tuple[str, ...]
    gases: tuple[Gas, ...]
    use: float
    fixed_life: bool = False

    @property
    def pump_l_min(self) -> str | None:
        """What its pump draws: as much as a demand-flow regulator is reckoned to give here."""
        return "0.35" if self.draws == "pump" else None

    @property
    def mixes(self) -> tuple[str, ...]:
        """The test gases it needs, in the order in which they are applied."""
        return tuple(dict.fromkeys(gas.mix for gas in self.gases))


_ALL: Final = ("sound", "light", "vibration")
TYPES: Final[dict[str, Type]] = {
    kind.key: kind
    for kind in (
        Type("4P", "Heron Works", "Fenlamp 4P", "FP", "pump", "1.8", _ALL, (CH4, O2, CO, H2S), 0.72),
        Type("4D", "Heron Works", "Fenlamp 4D", "FD", "diffusion", "1.6", _ALL, (CH4, O2, CO, H2S), 0.70),
        Type("5C", "Heron Works", "Fenlamp 5", "FC", "diffusion", "1.2", _ALL, (CH4, O2, CO, H2S, CO2), 0.55),
        Type("1H", "Brindlow", "Gillmark H", "GH", "diffusion", None, _ALL, (H2S,), 0.80, True),
        Type("1C", "Brindlow", "Gillmark C", "GC", "diffusion", None, _ALL, (CO,), 0.75, True),
        Type("1N", "Brindlow", "Stallmark N", "SN", "diffusion", None, ("sound", "light"), (NH3,), 0.55),
    )
}

FLEET: Final[dict[str, tuple[tuple[str, int], ...]]] = {
    "site:tarvela-works": (("4P", 5), ("4D", 6), ("1H", 5), ("1C", 3)),
    "site:ombrel-digesters": (("4P", 4), ("4D", 4), ("5C", 5), ("1H", 3), ("1N", 3)),
    "site:ribalva-sewers": (("4P", 3), ("4D", 4), ("1H", 4)),
    "site:hulmar-workshop": (("4P", 4), ("4D", 2), ("5C", 2), ("1C", 2), ("1N", 1)),
}
"""How many of each type belong to each site: sixty detectors."""


def _label(methane_vol_pct: str) -> dict[str, str]:
    """What stands on the label: %LFL of methane, 4.4 % vol for 100 %LFL (IEC 60079-20-1)."""
    return {"label_pct_lfl": f"{float(methane_vol_pct) / 4.4 * 100:.0f}", "label_lfl_vol_pct": "4.4"}


@dataclass(frozen=True, slots=True)
class Mix:
    """A test gas as it is bought."""

    key: str
    components: tuple[tuple[str, str, str, str], ...]
    balance: str
    shelf_days: int
    litres: float
    water_l: str
    full_bar: float
    minimum_bar: float
    gas_on_s: tuple[int, int]
    recipe: str = ""
    """Its own name, where there is another mixture for the same purpose."""

    def applied(self, gas: Gas) -> str:
        """What a channel is to read in this mixture, in its own unit (LFL of methane 4.4 vol %, IEC)."""
        for name, amount, _, _ in self.components:
            if name == gas.gas:
                return f"{float(amount) / 4.4 * 100:.0f}" if gas.unit == "pct_lfl" else amount
        return gas.applied

    def components_listed(self) -> list[dict[str, str]]:
        """The components as a cylinder's description holds them."""
        return [
            {
                "gas": gas,
                "amount": amount,
                "unit": unit,
                "expanded_uncertainty_pct": uncertainty,
                **(_label(amount) if gas == "methane" else {}),
            }
            for gas, amount, unit, uncertainty in self.components
        ]


# Volume and water capacity by V = Vw p / 1.013 bar (ideal gas, usable above atmospheric pressure).
MIXES: Final[dict[str, Mix]] = {
    mix.recipe or mix.key: mix
    for mix in (
        Mix(
            "four",
            (
                ("methane", "1.6", "vol_pct", "2"),
                ("oxygen", "16", "vol_pct", "2"),
                ("carbon monoxide", "100", "ppm", "5"),
                ("hydrogen sulfide", "20", "ppm", "5"),
            ),
            "nitrogen", 720, 58.0, "0.85", 69.0, 2.0, (24, 36),
        ),
        Mix(
            "four",
            (
                ("methane", "2.2", "vol_pct", "2"),
                ("oxygen", "15", "vol_pct", "2"),
                ("carbon monoxide", "100", "ppm", "5"),
                ("hydrogen sulfide", "25", "ppm", "5"),
            ),
            "nitrogen", 720, 58.0, "0.85", 69.0, 2.0, (24, 36), "four-strong",
        ),
        Mix("dioxide", (("carbon dioxide", "2.5", "vol_pct", "2"),),
            "air", 1080, 58.0, "0.85", 69.0, 2.0, (24, 34)),
        Mix("ammonia", (("ammonia", "50", "ppm", "5"),),
            "nitrogen", 240, 58.0, "0.85", 69.0, 2.5, (54, 72)),
    )
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Point:
    """A place where a cylinder stands ready with its regulator."""

    site: str
    mix: str
    regulator: str
    flow: str
    flow_l_min: float
    recipe: str = ""


POINTS: Final[tuple[Point, ...]] = (
    Point("site:tarvela-works", "four", "regulator:R-01", "fixed", 0.5),
    Point("site:tarvela-works", "four", "regulator:R-02", "fixed", 0.5),
    Point("site:tarvela-works", "four", "regulator:R-03", "demand", 0.35),
    Point("site:ombrel-digesters", "four", "regulator:R-04", "fixed", 0.5),
    Point("site:ombrel-digesters", "four", "regulator:R-05", "demand", 0.35),
    Point("site:ombrel-digesters", "dioxide", "regulator:R-06", "fixed", 0.5),
    Point("site:ombrel-digesters", "ammonia", "regulator:R-07", "fixed", 0.5),
    Point("site:ribalva-sewers", "four", "regulator:R-08", "fixed", 0.5, "four-strong"),
    Point("site:hulmar-workshop", "four", "regulator:R-09", "fixed", 0.5),
    Point("site:hulmar-workshop", "four", "regulator:R-10", "demand", 0.35),
    Point("site:hulmar-workshop", "dioxide", "regulator:R-11", "fixed", 0.5),
    Point("site:hulmar-workshop", "ammonia", "regulator:R-12", "fixed", 0.5),
)
