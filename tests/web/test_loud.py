"""Held for an investigation, issued untested, a life that ends: said on every page naming the detector."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest
from django.test import Client

from tests.web.conftest import Cast, detector

HELD = "Held for an investigation: do not test, zero or charge it."
UNTESTED = "Issued untested until Mon 2 Mar, 15:00 WET. On the authority of Ilda Fontanova."


def text(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    return html.unescape(re.sub(r"\s+", " ", answer.content.decode()))


def hold(cast: Cast, code: str = "D-019") -> None:
    draft = {"kind": "out-of-service", "detector": f"detector:{code}", "because": "incident"}
    cast.write(draft, minutes_ago=10)


def issue(cast: Cast) -> None:
    draft = {
        "kind": "issued-untested", "detector": "detector:D-019", "to": "person:P-07",
        "authority": "person:K-1", "until": "2026-03-02T15:00:00.000Z", "reason": "Sewage rising.",
    }  # fmt: skip
    cast.write(draft, minutes_ago=5)


@pytest.mark.parametrize("address", ["/", "/detectors", "/people/P-07"])
def test_an_issue_without_a_test_is_loud_with_its_end_and_authority(
    cast: Cast, keeper: Client, address: str
) -> None:
    assert UNTESTED not in text(keeper, address)
    issue(cast)
    assert f'<strong class="untested">{UNTESTED}</strong>' in text(keeper, address)


@pytest.mark.parametrize("address", ["/", "/detectors"])
def test_a_detector_held_for_an_investigation_is_loud_in_every_list(
    cast: Cast, keeper: Client, address: str
) -> None:
    hold(cast)
    assert f'<strong class="untested">{HELD}</strong>' in text(keeper, address)


def test_its_page_says_what_not_to_do_and_offers_first_what_does_not_change_it(
    cast: Cast, keeper: Client
) -> None:
    before = text(keeper, "/detectors/D-019")
    assert "Do not zero it." not in before
    assert '<a class="button button--first" href="/test/D-019">' in before
    hold(cast)
    page = text(keeper, "/detectors/D-019")
    for words in ("Do not test it:", "Do not zero it.", "Do not charge it, switch it on", "Do not calibrate"):
        assert words in page
    offered, apart = page[page.index('id="h-do"') :].split("It was done all the same", 1)
    apart = apart[: apart.index("</section>")]
    assert 'href="/test/D-019"' not in page
    assert "/test/D-019?although-held=1" in apart
    for kind in ("calibration", "fresh-air-set", "repaired"):
        assert f"/write/{kind}?about=detector:D-019" not in offered
        assert f"/write/{kind}?about=detector:D-019" in apart
    assert "/write/returned-to-service?about=detector:D-019" in offered


def test_the_test_page_of_a_held_detector_asks_first_and_still_takes_what_happened(
    cast: Cast, keeper: Client
) -> None:
    hold(cast)
    page = text(keeper, "/test/D-019")
    assert "Do not test" in page
    assert '<form class="bump"' not in page
    form = text(keeper, "/test/D-019?although-held=1")
    assert '<form class="bump"' in form
    assert "held for an investigation" in form
    choose = text(keeper, "/test")
    assert "do not test, zero or charge them:" in choose
    assert 'href="/test/D-019"' not in choose


@pytest.mark.parametrize("kind", ["calibration", "fresh-air-set", "repaired"])
def test_the_form_of_what_would_change_a_held_detector_warns(cast: Cast, keeper: Client, kind: str) -> None:
    address = f"/write/{kind}?about=D-019"
    assert "Held for an investigation." not in text(keeper, address)
    hold(cast)
    assert "Write down here only what has happened already" in text(keeper, address)


@pytest.mark.parametrize(
    ("life_ends", "said"),
    [
        ("2026-04-02", ""),
        ("2026-04-01", "Ends on 1 Apr 2026: 30 days left."),
        ("2026-03-03", "Ends on 3 Mar 2026: 1 day left."),
        ("2026-03-02", "Ends on 2 Mar 2026: today is its last day."),
        ("2026-03-01", "Its life ended on 1 Mar 2026."),
    ],
)
def test_a_fixed_life_is_told_from_thirty_days_before_its_last_day(
    cast: Cast, keeper: Client, life_ends: str, said: str
) -> None:
    # Today is 2 March 2026 on the site's clock.
    fixed: dict[str, Any] = {
        "activated": "2024-03-02", "life_ends": life_ends, "calibrated_by_maker_only": True,
    }  # fmt: skip
    cast.write(detector("D-020", "Q-88216") | fixed, minutes_ago=9)
    for address in ("/", "/detectors", "/detectors/D-020"):
        page = text(keeper, address)
        assert said in page
        assert ("Ends on" in page or "Its life ended" in page) is bool(said)
    assert said in text(keeper, "/test")
    page = text(keeper, "/detectors/D-020")
    ended = "ended" in said
    assert ("take it out of service." in page) is ended
    assert ('<a class="button button--first" href="/test/D-020">' in page) is not ended
    assert ("it is replaced, not calibrated" in page) is bool(said)
    assert "by its maker only" in page
    assert "2 Mar 2024" in page


def test_a_sensor_that_ends_is_named(cast: Cast, keeper: Client) -> None:
    made = detector("D-020", "Q-88216")
    made["channels"] = [
        {**channel, "sensor_ends": "2026-03-20"} if channel["name"] == "CO" else channel
        for channel in made["channels"]
    ]
    cast.write(made, minutes_ago=9)
    assert "Sensor CO ends on 20 Mar 2026: 18 days left." in text(keeper, "/detectors")
