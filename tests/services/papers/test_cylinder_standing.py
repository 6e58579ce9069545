"""The standing of a cylinder: everything that speaks against it, what is left, whom it serves."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pitbird.services.papers.cylinder_standing import cylinder_standing
from pitbird.services.papers.making import NoSuchPaper, Order
from tests.bodies import CHANNELS, at, bump, ms
from tests.papers import pdf
from tests.services.papers.conftest import Say

C112 = "cylinder:C-112"


def test_it_says_what_is_in_it_and_what_was_done(say: Say, order: Order) -> None:
    say(bump(at("07:30")))
    say({"kind": "gauge-read", "cylinder": C112, "gauge_bar": "41"}, now=ms("08:30"))
    made = cylinder_standing(C112, order)
    told = pdf.words(made.pdf)
    assert made.name == "cylinder-C-112.pdf"
    for words in (
        "Cylinder C-112",
        "In use.",
        "methane 2.2 % vol, oxygen 15 % vol, carbon monoxide 100 ppm, hydrogen sulfide 20 ppm, rest nitrogen",
        "Last day of use 6 Oct 2027",
        "Tests on it 1, of which 0 failed; 0 spoiled attempts",
        "Mon 2 Mar 2026, 08:30 WET: 41 bar",
        "It was never in quarantine.",
        "It cannot be told: neither its water capacity nor its contents",
        "Heron Works Quartet P 1",
    ):
        assert words in told, words
    assert "Not for testing" not in told
    pdf.assert_archival(made.pdf, title="Cylinder C-112")


def test_everything_against_it_is_loud_at_once(say: Say, order: Order) -> None:
    say({"kind": "cylinder-quarantined", "cylinder": C112, "because": "leak"}, now=ms("09:00"))
    say({"kind": "gauge-read", "cylinder": C112, "gauge_bar": "2"}, now=ms("09:30"))
    late = replace(order, now=ms("12:00", "2027-10-07"))
    told = pdf.words(cylinder_standing(C112, late).pdf)
    assert "Not for testing as it stands" in told
    assert "IN QUARANTINE since Mon 2 Mar 2026, 09:00 WET: a leak." in told
    assert "OUT OF DATE: its last day of use was 6 Oct 2027." in told
    assert "AT OR BELOW ITS MINIMUM PRESSURE by the last gauge reading." in told


def test_its_last_day_of_use_is_one_on_which_it_serves(say: Say, order: Order) -> None:
    last = replace(order, now=ms("12:00", "2027-10-06"))
    assert "OUT OF DATE" not in pdf.words(cylinder_standing(C112, last).pdf)


def test_an_emptied_cylinder_has_nothing_left(say: Say, order: Order) -> None:
    say({"kind": "cylinder-emptied", "cylinder": C112}, now=ms("09:00"))
    told = pdf.words(cylinder_standing(C112, order).pdf)
    assert "EMPTIED on Mon 2 Mar 2026, 09:00 WET." in told
    assert "Nothing: it was emptied." in told


def test_two_failed_tests_in_a_row_put_its_gas_in_question(say: Say, order: Order) -> None:
    say(bump(at("07:30"), missed="CO"), now=ms("07:31"))
    say(bump(at("07:40"), missed="CO"), now=ms("07:41"))
    told = pdf.words(cylinder_standing(C112, order).pdf)
    assert "IN QUESTION: D-017 failed a test on it, Mon 2 Mar 2026, 07:40 WET; 2 in a row" in told


def test_an_unknown_cylinder_is_refused(say: Say, order: Order) -> None:
    with pytest.raises(NoSuchPaper, match="cylinder: the book knows no cylinder 'C-999'"):
        cylinder_standing("cylinder:C-999", order)


def test_gas_that_air_thins_is_told_with_its_share(say: Say, order: Order) -> None:
    # 0.3 L/min of what a pump draws at 0.5 L/min is 60 % (conservation of amount).
    flow = {"flow": "fixed", "flow_l_min": "0.3"}
    say({"kind": "regulator", "regulator": "regulator:R-08", **flow}, now=ms("07:00"))
    opened = {"at_site": "site:north-works", "regulator": "regulator:R-08"}
    say({"kind": "cylinder-opened", "cylinder": C112, **opened}, now=ms("07:01"))
    say(
        {
            "kind": "detector", "detector": "detector:D-090", "make": "Brindlow", "model": "Gillmark P",
            "serial": "P-90", "draws": "pump", "pump_l_min": "0.5", "signals": ["sound"],
            "home": "site:north-works", "channels": [{**CHANNELS[-1], "t90_s": "20"}],
        },
        now=ms("07:02"),
    )  # fmt: skip
    told = pdf.words(cylinder_standing(C112, order).pdf)
    assert "its regulator gives less than the pump draws, 60 % of it is test gas" in told
