"""Entries for the measurements: sites, cylinders, four-gas detectors and their daily bump tests."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from random import Random
from typing import Any

from pitbird.fleet.kinds import KINDS
from pitbird.fleet.times import DAY, MINUTE, Ms, ms_of, text_of
from pitbird.rules.loading import document_of, load_shipped
from pitbird.services import clock

START = ms_of("2021-01-04T05:00:00.000Z")
ZONE = "Europe/Lisbon"

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
COMPONENTS = [
    {"gas": "methane", "amount": "2.2", "unit": "vol_pct"},
    {"gas": "oxygen", "amount": "15", "unit": "vol_pct"},
    {"gas": "carbon monoxide", "amount": "100", "unit": "ppm"},
    {"gas": "hydrogen sulfide", "amount": "25", "unit": "ppm"},
]
CHECKS = (
    "whole_and_clean", "inlets_clear", "warmed_up", "battery", "hose_tight", "gauge_shows_pressure",
    "cylinder_in_date",
)  # fmt: skip


def whole(kind: str, at: Ms, here: str, /, **fields: Any) -> dict[str, Any]:
    """A complete body of a kind, held to it."""
    common = {"kind": kind, "id": clock.new_id(), "at": text_of(at), "zone": ZONE, "by": "person:K-1"}
    return KINDS[kind].model_validate({**common, "where": here, **fields}).as_body()


def bump(at: Ms, detector: str, cylinder: str, site: str, missed: str | None = None) -> dict[str, Any]:
    """A full bump test of a four-gas detector, in the form in which it is written; made quickly."""
    made = copy.copy(_BUMP)
    made["id"], made["at"], made["where"], made["detector"] = clock.new_id(), text_of(at), site, detector
    made["about"] = [detector, cylinder]
    shown = _SHOWN
    if missed is not None:
        shown = [{**each, "reached": "no"} if each["channel"] == missed else each for each in _SHOWN]
        made["outcome"] = "failed"
    made["applications"] = [
        {
            "cylinder": cylinder,
            "gauge_bar": "41",
            "gas_on": text_of(at),
            "gas_off": text_of(Ms(at + 22_000)),
            "channels": shown,
        }
    ]
    return made


_SHOWN = [{"channel": each["name"], "reached": "yes", "after_s": "12"} for each in CHANNELS]
_BUMP: dict[str, Any] = {
    "kind": "bump-test",
    "v": 1,
    "zone": ZONE,
    "by": "person:K-1",
    "footing": "shown",
    "checks": dict.fromkeys(CHECKS, "yes"),
    "clean_air": [
        {"channel": each["name"], "reading": each["clean_air"], "right": "yes"} for each in CHANNELS
    ],
    "signals": {"sound": "yes", "light": "yes", "vibration": "yes"},
    "cleared": {"readings": "yes", "peaks": "yes"},
    "temperature_c": "14",
    "outcome": "passed",
}


def beginnings(sites: int, per_site: int, start: Ms = START) -> list[dict[str, Any]]:
    """What a fleet needs before its first test: book, sites, rules, a trained tester, gas, detectors."""
    made: list[dict[str, Any]] = []
    rules = document_of(load_shipped("strict"))
    names = [f"site:S-{number}" for number in range(sites)]
    first = clock.new_id()
    made.append({
        **whole("genesis", start, names[0], book=f"book:{first}", title="A measured book",
                format="pitbird-book/1", begun=text_of(start)[:10]),
    })  # fmt: skip
    for site in names:
        made.append(whole("site", start, site, site=site, name=site[5:], site_zone=ZONE))
        made.append(whole("cylinder", start, site, cylinder=cylinder_of(site), balance="nitrogen",
                          expires="2030-01-01", minimum_pressure_bar="2", minimum_temperature_c="0",
                          home=site, components=COMPONENTS))  # fmt: skip
        made.append(whole("cylinder-opened", start, site, cylinder=cylinder_of(site), at_site=site,
                          gauge_bar="60"))  # fmt: skip
    made.append(whole("rules-adopted", start, names[0], rules="rules:strict", sites=names,
                      effective=text_of(start), document=rules))  # fmt: skip
    made.append(whole("person", start, names[0], person="person:K-1", roles=["keeper", "tester", "competent"],
                      name="sha256:" + "0" * 64))  # fmt: skip
    for topic in ("bump-test", "calibration"):
        made.append(whole("training", start, names[0], person="person:K-1", topic=topic,
                          valid_until="2030-01-01"))  # fmt: skip
    for site in names:
        for number in range(per_site):
            made.append(whole("detector", start, site, detector=detector_of(site, number), make="Heron Works",
                              model="Quartet P", serial=f"Q-{number}", home=site, channels=CHANNELS,
                              signals=["sound", "light", "vibration"]))  # fmt: skip
    return made


def calibrations(at: Ms, sites: int, per_site: int) -> list[dict[str, Any]]:
    """A calibration of every detector."""
    return [
        whole("calibration", at, site, detector=detector_of(site, number), cylinders=[cylinder_of(site)],
              result="passed",
              channels=[{"channel": c["name"], "applied": "20", "result": "within"} for c in CHANNELS])
        for site in (f"site:S-{place}" for place in range(sites))
        for number in range(per_site)
    ]  # fmt: skip


def detector_of(site: str, number: int) -> str:
    """The name of a detector of a site."""
    return f"detector:{site[5:]}-{number}"


def cylinder_of(site: str) -> str:
    """The name of a site's cylinder."""
    return f"cylinder:{site[5:]}"


def tests_of_a_day(at: Ms, sites: int, per_site: int, random: Random) -> list[dict[str, Any]]:
    """A morning's tests of every detector: one in 400 fails, as a channel did not reach its alarm."""
    made = []
    for place in range(sites):
        site = f"site:S-{place}"
        for number in range(per_site):
            missed = "CO" if random.random() < 0.0025 else None
            moment = Ms(at + number * MINUTE // 10)
            made.append(bump(moment, detector_of(site, number), cylinder_of(site), site, missed))
    return made


@contextmanager
def quickly() -> Iterator[Callable[[list[dict[str, Any]], Ms], None]]:
    """One writing transaction for many bodies, written to the disk every few thousand entries."""
    from pitbird.services.appending import writing
    from pitbird.services.quick import uncollected

    with uncollected(), writing() as ledger:

        def add(bodies: list[dict[str, Any]], recorded_at: Ms) -> None:
            ledger.expect([body["id"] for body in bodies])
            ledger.load(subject for body in bodies for subject in body["about"])
            for body in bodies:
                ledger.add(body, recorded_at=recorded_at)

        yield add


def signed_in() -> Any:
    """A test client that is signed in as the keeper, for the pages of the present book."""
    from django.conf import settings
    from django.contrib.auth.models import User
    from django.test import Client

    from pitbird.store.models import Login

    settings.ALLOWED_HOSTS = ["testserver"]
    user, made = User.objects.get_or_create(username="keeper")
    if made:
        Login.objects.create(user=user, person="person:K-1", site="site:S-0")
    client = Client()
    client.force_login(user)
    return client


__all__ = ["DAY", "START", "beginnings", "bump", "calibrations", "tests_of_a_day"]
