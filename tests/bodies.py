"""Bodies of entries for tests: a kind's own example with what the test changes."""

from __future__ import annotations

from itertools import count
from typing import Any

from pitbird.fleet.kinds import KINDS
from pitbird.fleet.times import Ms, ms_of

_NUMBERS = count(1)
DAY = "2026-03-02"


def at(clock: str, day: str = DAY) -> str:
    """The book's form of a time of day (UTC)."""
    return f"{day}T{clock}:00.000Z"


def ms(clock: str, day: str = DAY) -> Ms:
    """The instant of a time of day (UTC)."""
    return ms_of(at(clock, day))


def entry_id() -> str:
    """An id that no other body in this run has."""
    return f"0195a111-0000-7000-8000-{next(_NUMBERS):012x}"


def body(kind: str, when: str | None = None, **fields: Any) -> dict[str, Any]:
    """A valid body of a kind; ``None`` removes a field."""
    model = KINDS[kind]
    value = {**model.EXAMPLE, "id": entry_id(), **fields}
    if when is not None:
        value["at"] = when
    value = {name: part for name, part in value.items() if part is not None}
    return model.model_validate(value).as_body()


CHANNELS: list[dict[str, Any]] = [
    {
        "name": "CH4", "gas": "methane", "principle": "catalytic", "unit": "pct_lfl",
        "lfl_basis": "iec-60079-20-1", "range_high": "100", "clean_air": "0", "clean_air_tolerance": "2",
        "alarms": [{"name": "low", "at": "10"}, {"name": "high", "at": "20"}],
    },
    {
        "name": "O2", "gas": "oxygen", "principle": "oxygen", "unit": "vol_pct", "range_high": "25",
        "clean_air": "20.9", "clean_air_tolerance": "0.3",
        "alarms": [
            {"name": "low", "at": "19.5", "direction": "falling"},
            {"name": "very-low", "at": "18", "direction": "falling"},
            {"name": "high", "at": "23.5", "shown_by": "none"},
        ],
    },
    {
        "name": "CO", "gas": "carbon monoxide", "principle": "electrochemical", "unit": "ppm",
        "range_high": "500", "clean_air": "0", "clean_air_tolerance": "2",
        "alarms": [{"name": "low", "at": "30"}, {"name": "high", "at": "60"}],
    },
    {
        "name": "H2S", "gas": "hydrogen sulfide", "principle": "electrochemical", "unit": "ppm",
        "range_high": "100", "clean_air": "0", "clean_air_tolerance": "1",
        "alarms": [{"name": "low", "at": "5"}, {"name": "high", "at": "10"}],
    },
]  # fmt: skip


def detector(when: str = at("05:00"), **fields: Any) -> dict[str, Any]:
    """A four-gas detector's description."""
    return body("detector", when, **{"channels": CHANNELS, **fields})


def bump(when: str, *, missed: str | None = None, **fields: Any) -> dict[str, Any]:
    """A full bump test of a four-gas detector that passed, or failed on one channel."""
    shown = [
        {"channel": c["name"], "reached": "no" if c["name"] == missed else "yes", "after_s": "12"}
        for c in CHANNELS
    ]
    whole = {
        "clean_air": [
            {"channel": c["name"], "reading": c["clean_air"], "right": "yes"} for c in CHANNELS
        ],
        "applications": [
            {"cylinder": "cylinder:C-112", "gas_on": when, "gas_off": when.replace(":00.000Z", ":20.000Z"),
             "channels": shown}
        ],
        "outcome": "failed" if missed else "passed",
    }  # fmt: skip
    return body("bump-test", when, **{**whole, **fields})
