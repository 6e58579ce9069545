"""The morning sheet: every detector of a site with its answer, its end and its reason, and no names."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitbird.services.papers.making import NoSuchPaper, Order
from pitbird.services.papers.morning_sheet import morning_sheet
from tests.bodies import CHANNELS, at, bump, ms
from tests.papers import pdf
from tests.services.papers.conftest import Say

SITE = "site:north-works"


def second(code: str = "D-018") -> dict[str, object]:
    return {
        "kind": "detector", "detector": f"detector:{code}", "make": "Heron Works", "model": "Quartet P",
        "serial": "Q-2", "signals": ["sound", "light", "vibration"], "home": SITE, "channels": CHANNELS,
    }  # fmt: skip


def test_a_detector_that_may_go_out_stands_with_its_end(say: Say, order: Order) -> None:
    say(bump(at("07:30")))
    made = morning_sheet(SITE, order)
    told = pdf.words(made.pdf)
    assert made.name == "morning-north-works.pdf"
    assert "What may go out: North works" in told
    assert "1 of 1 may go out. As of Mon 2 Mar 2026, 12:00 WET." in told
    # The change-over of the site is 04:00 local.
    assert "MAY GO OUT until Tue 3 Mar 2026, 04:00 WET D-017 Heron Works Quartet P" in told
    assert "Not after Tue 3 Mar 2026, 04:00 WET" in told
    pdf.assert_archival(made.pdf, title="What may go out: North works")


def test_what_stays_in_comes_first_with_why_and_what_to_do(say: Say, order: Order) -> None:
    say(bump(at("07:30")))
    say(second(), by="person:K-1")
    told = pdf.words(morning_sheet(SITE, order).pdf)
    assert "1 of 2 may go out." in told
    assert told.index("NOT YET no pass that counts D-018") < told.index("MAY GO OUT until")
    assert "No passed bump test is on record. Do a bump test." in told


def test_a_detector_out_of_service_is_crossed_out_with_since_when(say: Say, order: Order) -> None:
    say({"kind": "out-of-service", "detector": "detector:D-017", "because": "damaged"}, now=ms("09:00"))
    told = pdf.words(morning_sheet(SITE, order).pdf)
    assert "0 of 1 may go out." in told
    assert "OUT OF SERVICE since Mon 2 Mar 2026, 09:00 WET D-017" in told
    assert "Not after" not in told


def test_held_and_issued_untested_are_loud_on_top(say: Say, order: Order) -> None:
    say(
        {"kind": "issued-untested", "detector": "detector:D-017", "to": "person:P-07",
         "authority": "person:K-1", "until": at("16:00"), "reason": "Rescue under way"},
        by="person:K-1", now=ms("11:00"),
    )  # fmt: skip
    told = pdf.words(morning_sheet(SITE, order).pdf)
    line = "ISSUED UNTESTED to P-07 until Mon 2 Mar 2026, 16:00 WET, on the authority of K-1."
    assert f"Look here first D-017: {line}" in told
    assert told.count(line) == 2
    say({"kind": "out-of-service", "detector": "detector:D-017", "because": "incident"}, now=ms("11:30"))
    assert "HELD FOR AN INVESTIGATION since Mon 2 Mar 2026, 11:30 WET" in pdf.words(
        morning_sheet(SITE, order).pdf
    )


def test_people_are_named_by_their_codes_only(say: Say, order: Order) -> None:
    say(bump(at("07:30")))
    say({"kind": "handed-out", "detector": "detector:D-017", "to": "person:P-07", "from_store": True})
    told = pdf.words(morning_sheet(SITE, order).pdf)
    assert "Rui Marrel" not in told
    assert "Fontanova" not in told


def test_a_site_without_detectors_says_so(say: Say, order: Order) -> None:
    say(
        {"kind": "site", "site": "site:south", "name": "South store", "site_zone": "Europe/Lisbon"},
        by="person:K-1",
    )
    told = pdf.words(morning_sheet("site:south", order).pdf)
    assert "The book knows no detector of this site." in told


def test_an_unknown_site_is_refused(say: Say, order: Order) -> None:
    with pytest.raises(NoSuchPaper, match="site: the book knows no site 'nowhere'"):
        morning_sheet("site:nowhere", order)


def test_a_long_list_keeps_its_head_on_every_page(say: Say, order: Order) -> None:
    for number in range(30):
        say(second(f"X-{number:03}"), by="person:K-1")
    made = morning_sheet(SITE, replace(order, paper="us-letter"))
    assert pdf.pages(made.pdf) > 2
    assert pdf.words(made.pdf).count("Why, and what to do") >= pdf.pages(made.pdf) - 1
