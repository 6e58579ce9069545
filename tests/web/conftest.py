"""The cast: a small book with keeper and tester; one detector may go out, one failed, one is not tested."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core.cache import cache
from django.test import Client

from pitbird.fleet.times import MINUTE, Ms, text_of
from pitbird.services import clock
from pitbird.services.beginning import Beginning, begin_book
from pitbird.services.writing import Actor, write
from pitbird.store.models import Login
from tests.bodies import CHANNELS

#: Whether the test itself passed, on its item.
PASSED = pytest.StashKey[bool]()
#: A Monday at noon in the zone of the site (WET, UTC+0).
NOON = Ms(1_772_452_800_000)  # 2026-03-02T12:00:00Z
KEEPER, TESTER = "person:K-1", "person:P-07"
SITE = "site:north-works"


CHECKS = (
    "whole_and_clean", "inlets_clear", "warmed_up", "battery", "hose_tight", "gauge_shows_pressure",
    "cylinder_in_date",
)  # fmt: skip


def ago(minutes: float, now: Ms = NOON) -> Ms:
    """So many minutes before noon."""
    return Ms(int(now - minutes * MINUTE))


@dataclass(frozen=True)
class Cast:
    """Who plays, and when."""

    now: Ms
    keeper: Actor
    tester: Actor

    def write(self, draft: dict[str, Any], *, minutes_ago: float = 0, by: Actor | None = None) -> str:
        """Write an entry some minutes before the present; its id."""
        return write(draft, by or self.keeper, now=ago(minutes_ago, self.now)).entry_id


def detector(code: str, serial: str) -> dict[str, Any]:
    """A four-gas detector's description."""
    return {
        "kind": "detector", "detector": f"detector:{code}", "make": "Heron Works", "model": "Quartet P",
        "serial": serial, "signals": ["sound", "light", "vibration"], "home": SITE, "channels": CHANNELS,
    }  # fmt: skip


def passed(code: str, at: Ms, *, outcome: str = "passed", missed: str = "") -> dict[str, Any]:
    """A bump test with everything looked at, passed, or with one channel that did not come."""
    return {
        "kind": "bump-test", "detector": f"detector:{code}", "at": text_of(at), "outcome": outcome,
        "checks": dict.fromkeys(CHECKS, "yes"),
        "clean_air": [
            {"channel": channel["name"], "reading": channel["clean_air"], "right": "yes"}
            for channel in CHANNELS
        ],
        "applications": [
            {
                "cylinder": "cylinder:C-112", "gauge_bar": "41", "gas_on": text_of(Ms(at - 60_000)),
                "gas_off": text_of(Ms(at - 30_000)),
                "channels": [
                    {"channel": channel["name"], "reached": "no" if channel["name"] == missed else "yes"}
                    for channel in CHANNELS
                ],
            }
        ],
        "signals": {"sound": "yes", "light": "yes", "vibration": "yes"},
        "cleared": {"readings": "yes", "peaks": "yes"}, "temperature_c": "12",
    }  # fmt: skip


def fill(now: Ms) -> Cast:
    """Write the small book, so that ``now`` is its present."""
    early = Ms(now - 5 * 3_600_000)
    keeper = begin_book(
        Beginning(
            title="Portable gas detectors", site="north-works", site_name="North works", zone="Europe/Lisbon",
            keeper="K-1", keeper_name="Ilda Fontanova",
        ),
        now=early,
    )  # fmt: skip
    tester = Actor(TESTER, SITE, "Europe/Lisbon")
    cast = Cast(now, keeper, tester)
    drafts: list[dict[str, Any]] = [
        {"kind": "person", "person": TESTER, "name": "Rui Marrel", "roles": ["tester", "wearer"],
         "home": SITE},
        {"kind": "training", "person": TESTER, "topic": "bump-test", "valid_until": "2028-03-02"},
        {"kind": "training", "person": TESTER, "topic": "wearing", "valid_until": "2028-03-02"},
        detector("D-017", "Q-88213"),
        detector("D-018", "Q-88214"),
        detector("D-019", "Q-88215"),
        {
            "kind": "cylinder", "cylinder": "cylinder:C-112", "balance": "nitrogen", "expires": "2027-10-06",
            "lot": "L-2291", "minimum_pressure_bar": "2", "minimum_temperature_c": "0", "home": SITE,
            "components": [
                {"gas": "methane", "amount": "2.2", "unit": "vol_pct"},
                {"gas": "oxygen", "amount": "15", "unit": "vol_pct"},
                {"gas": "carbon monoxide", "amount": "100", "unit": "ppm"},
                {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm"},
            ],
        },
        {"kind": "cylinder-opened", "cylinder": "cylinder:C-112", "at_site": SITE, "gauge_bar": "60"},
        *(
            {
                "kind": "calibration", "detector": f"detector:{code}", "cylinders": ["cylinder:C-112"],
                "result": "passed",
                "channels": [{"channel": c["name"], "applied": "20", "result": "within"} for c in CHANNELS],
            }
            for code in ("D-017", "D-018", "D-019")
        ),
    ]  # fmt: skip
    for draft in drafts:
        write(draft, keeper, now=Ms(early + 60_000))
    cast.write(passed("D-017", ago(90, now)), minutes_ago=89, by=tester)
    cast.write(passed("D-018", ago(80, now), outcome="failed", missed="H2S"), minutes_ago=79, by=tester)
    return cast


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Note whether the test passed: what is shared is not handed on after one that failed."""
    report = yield
    if report.when == "call":
        item.stash[PASSED] = report.passed
    return report


@pytest.fixture(autouse=True)
def _no_wrong_passwords_from_another_test() -> None:
    cache.clear()


@pytest.fixture
def cast(db: None, monkeypatch: pytest.MonkeyPatch) -> Cast:
    """The small book, and the clock stopped at noon."""
    monkeypatch.setattr(clock, "now", lambda: NOON)
    return fill(NOON)


def sign_in(person: str, name: str) -> Client:
    """A browser in which an account of this person is signed in; CSRF is not checked by this client."""
    user = User.objects.create_user(name)
    Login.objects.create(user=user, person=person, site=SITE)
    client = Client()
    client.force_login(user)
    return client


@pytest.fixture
def keeper(cast: Cast) -> Client:
    """The keeper, signed in."""
    return sign_in(KEEPER, "ilda")


@pytest.fixture
def tester(cast: Cast) -> Client:
    """A tester without the keeper's rights, signed in."""
    return sign_in(TESTER, "rui")


@pytest.fixture
def text_of_page() -> Callable[[Any], str]:
    """The page's text, as it was sent."""
    return lambda response: response.content.decode()
