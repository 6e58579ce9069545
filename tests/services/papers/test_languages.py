"""Stamps, findings and what is loud on papers stand in the language of the locale; the rest is English."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitbird.services.papers.detector_history import detector_history
from pitbird.services.papers.making import Order
from pitbird.services.papers.morning_sheet import morning_sheet
from tests.bodies import at, bump, ms
from tests.papers import pdf
from tests.services.papers.conftest import Say

D17, SITE = "detector:D-017", "site:north-works"


@pytest.mark.parametrize(
    ("locale", "stamp"),
    [
        ("de", "DARF HINAUS bis 03.03.2026, 04:00 WET"),
        ("es", "PUEDE SALIR hasta el 3/03/2026, 04:00 WET"),
        ("fr", "PEUT SORTIR jusqu’au 03/03/2026, 04:00 WET"),
        ("nl", "MAY GO OUT until 03-03-2026, 04:00 WET"),
    ],
)
def test_a_yes_stands_with_its_end_in_the_language_of_the_locale(
    say: Say, order: Order, locale: str, stamp: str
) -> None:
    say(bump(at("07:30")))
    made = morning_sheet(SITE, replace(order, locale=locale))
    told = pdf.words(made.pdf)
    assert stamp in told
    assert "What it does not show" in told
    pdf.assert_archival(made.pdf, title="What may go out: North works", lang="en")


def test_why_and_what_is_loud_stand_in_the_language_of_the_locale(say: Say, order: Order) -> None:
    say(
        {"kind": "issued-untested", "detector": D17, "to": "person:P-07", "authority": "person:K-1",
         "until": at("16:00"), "reason": "Rescue under way"},
        by="person:K-1", now=ms("11:00"),
    )  # fmt: skip
    told = pdf.words(detector_history(D17, replace(order, locale="de")).pdf)
    assert "UNGEPRÜFT AUSGEGEBEN an Rui Marrel (P-07) bis 02.03.2026, 16:00 WET" in told
    assert "NOCH NICHT kein bestandener Test, der zählt" in told
    assert "Kein bestandener Anzeigetest ist verzeichnet. Anzeigetest durchführen." in told


@pytest.mark.parametrize(
    ("locale", "stamp"),
    [
        ("de", "AUSSER BETRIEB seit 02.03.2026, 09:00 WET"),
        ("es", "FUERA DE SERVICIO desde el 2/03/2026, 09:00 WET"),
        ("fr", "HORS SERVICE depuis le 02/03/2026, 09:00 WET"),
    ],
)
def test_out_of_service_says_since_when(say: Say, order: Order, locale: str, stamp: str) -> None:
    say({"kind": "out-of-service", "detector": D17, "because": "damaged"}, now=ms("09:00"))
    assert stamp in pdf.words(morning_sheet(SITE, replace(order, locale=locale)).pdf)
