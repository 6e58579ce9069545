"""A small book at the present time for the tests of the bump test page, and a form as a browser posts it."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.auth.models import User

from pitbird.fleet.times import HOUR, MINUTE, Ms, local, text_of
from pitbird.services import clock
from pitbird.services.beginning import Beginning, begin_book
from pitbird.services.writing import Actor, write
from pitbird.store.models import Login
from tests.bodies import CHANNELS

CARBON_DIOXIDE: dict[str, Any] = {
    "name": "CO2", "gas": "carbon dioxide", "principle": "infrared", "unit": "vol_pct", "range_high": "5",
    "clean_air": "0.04", "clean_air_tolerance": "0.1",
    "alarms": [{"name": "low", "at": "0.5"}, {"name": "high", "at": "1.5"}],
}  # fmt: skip
FIVE = [*CHANNELS, CARBON_DIOXIDE]
FOUR_GASES = [
    {"gas": "methane", "amount": "2.2", "unit": "vol_pct"},
    {"gas": "oxygen", "amount": "15", "unit": "vol_pct"},
    {"gas": "carbon monoxide", "amount": "100", "unit": "ppm"},
    {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm"},
]
CHECKS = (
    "whole_and_clean", "inlets_clear", "warmed_up", "battery",
    "cylinder_in_date", "gauge_shows_pressure", "hose_tight",
)  # fmt: skip
PASSWORD = "a long enough word"


def begin(spare: int = 0) -> Actor:
    """A book begun ten hours ago: a four-gas and a five-gas detector, their gas, a tester with an account;
    and ``spare`` more of both sorts of detector (F-000…, X-000…)."""
    now = clock.now()
    then = Ms(now - 10 * HOUR)
    keeper = begin_book(
        Beginning(
            title="Portable gas detectors", site="north-works", site_name="North works",
            zone="Europe/Lisbon", keeper="K-1", keeper_name="Ilda Fontanova",
        ),
        now=then,
    )  # fmt: skip
    today = local(now, "Europe/Lisbon").date()
    soon, past = str(today + timedelta(days=200)), str(today - timedelta(days=9))
    for draft in (
        {"kind": "training", "person": "person:K-1", "topic": "bump-test", "valid_until": soon},
        {"kind": "regulator", "regulator": "regulator:R-03", "flow": "fixed", "flow_l_min": "0.5"},
        detector("D-017", CHANNELS, serial="Q-88213"),
        detector("D-018", FIVE, serial="Q-88214"),
        cylinder("C-112", FOUR_GASES, expires=soon),
        cylinder("C-201", [{"gas": "carbon dioxide", "amount": "2.5", "unit": "vol_pct"}], expires=soon),
        cylinder("C-090", FOUR_GASES, expires=past),
        {"kind": "cylinder-opened", "cylinder": "cylinder:C-090", "at_site": "site:north-works"},
        {"kind": "cylinder-opened", "cylinder": "cylinder:C-112", "at_site": "site:north-works",
         "regulator": "regulator:R-03", "gauge_bar": "60"},
        {"kind": "cylinder-opened", "cylinder": "cylinder:C-201", "at_site": "site:north-works",
         "gauge_bar": "44"},
        *(
            made
            for number in range(spare)
            for code, channels in ((f"F-{number:03}", CHANNELS), (f"X-{number:03}", FIVE))
            for made in (detector(code, channels), calibration(code, channels))
        ),
        calibration("D-017", CHANNELS),
        calibration("D-018", FIVE),
    ):  # fmt: skip
        write(draft, keeper, now=Ms(then + MINUTE))
    user = User.objects.create_user("ilda", password=PASSWORD)
    Login.objects.create(user=user, person=keeper.person, site=keeper.site or "")
    return keeper


def detector(code: str, channels: list[dict[str, Any]], **fields: Any) -> dict[str, Any]:
    return {
        "kind": "detector", "detector": f"detector:{code}", "make": "Heron Works", "model": "Quartet P",
        "serial": code, "signals": ["sound", "light", "vibration"], "home": "site:north-works",
        "channels": channels, **fields,
    }  # fmt: skip


def cylinder(code: str, components: list[dict[str, str]], **fields: Any) -> dict[str, Any]:
    return {
        "kind": "cylinder", "cylinder": f"cylinder:{code}", "balance": "nitrogen",
        "minimum_pressure_bar": "2", "minimum_temperature_c": "0", "home": "site:north-works",
        "components": components, **fields,
    }  # fmt: skip


def calibration(code: str, channels: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "kind": "calibration", "detector": f"detector:{code}", "cylinders": ["cylinder:C-112"],
        "result": "passed",
        "channels": [{"channel": c["name"], "applied": "1", "result": "within"} for c in channels],
    }  # fmt: skip


def passing(entry_id: str | None = None, **changed: str | None) -> dict[str, str]:
    """The fields of a passing four-gas test as a browser without script posts them; None leaves one out."""
    fields: dict[str, str | None] = {
        "id": entry_id or clock.new_id(),
        "temperature": "12",
        **{f"check-{check}": "yes" for check in CHECKS},
        **{f"air-{channel['name']}": "yes" for channel in CHANNELS},
        "read-O2": "20,9",
        "gas-0-cylinder": "C-112", "gas-0-regulator": "R-03", "gas-0-gauge": "41",
        "gas-0-on": "", "gas-0-off": "", "gas-0-seconds": "25",
        **{f"reach-0-{channel['name']}": "yes" for channel in CHANNELS},
        "after-0-H2S": "11",
        **{f"signal-{signal}": "yes" for signal in ("sound", "light", "vibration")},
        "cleared-readings": "yes", "cleared-peaks": "yes",
        "because": "", "note": "", "ended": "",
        **changed,
    }  # fmt: skip
    return {name: value for name, value in fields.items() if value is not None}


def instant(seconds_ago: float) -> str:
    """The book's form of a moment so many seconds ago."""
    return text_of(Ms(clock.now() - int(seconds_ago * 1000)))
