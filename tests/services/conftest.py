"""A small book: one site, two people, one four-gas detector, one cylinder, the strict rules."""

from __future__ import annotations

import pytest

from pitbird.services.beginning import Beginning, begin_book
from pitbird.services.writing import Actor, write
from tests.bodies import CHANNELS, ms

BEGUN = ms("04:30")


@pytest.fixture
def keeper(db: None) -> Actor:
    """A begun book's keeper."""
    return begin_book(
        Beginning(
            title="Portable gas detectors",
            site="north-works",
            site_name="North works",
            zone="Europe/Lisbon",
            keeper="K-1",
            keeper_name="Ilda Fontanova",
        ),
        now=BEGUN,
    )


@pytest.fixture
def fleet(keeper: Actor) -> Actor:
    """The keeper of a book with a detector, a cylinder and a trained tester."""
    for draft in (
        {"kind": "person", "person": "person:P-07", "name": "Rui Marrel", "roles": ["tester"]},
        {"kind": "training", "person": "person:P-07", "topic": "bump-test", "valid_until": "2028-03-02"},
        {"kind": "training", "person": "person:K-1", "topic": "bump-test", "valid_until": "2028-03-02"},
        {
            "kind": "detector", "detector": "detector:D-017", "make": "Heron Works", "model": "Quartet P",
            "serial": "Q-88213", "signals": ["sound", "light", "vibration"], "home": "site:north-works",
            "channels": CHANNELS,
        },
        {
            "kind": "cylinder", "cylinder": "cylinder:C-112", "balance": "nitrogen", "expires": "2027-10-06",
            "minimum_pressure_bar": "2", "minimum_temperature_c": "0", "home": "site:north-works",
            "components": [
                {"gas": "methane", "amount": "2.2", "unit": "vol_pct"},
                {"gas": "oxygen", "amount": "15", "unit": "vol_pct"},
                {"gas": "carbon monoxide", "amount": "100", "unit": "ppm"},
                {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm"},
            ],
        },
        {"kind": "cylinder-opened", "cylinder": "cylinder:C-112", "at_site": "site:north-works",
         "gauge_bar": "60"},
        {"kind": "calibration", "detector": "detector:D-017", "cylinders": ["cylinder:C-112"],
         "result": "passed",
         "channels": [{"channel": c["name"], "applied": "20", "result": "within"} for c in CHANNELS]},
    ):  # fmt: skip
        write(draft, keeper, now=ms("05:00"))
    return keeper
