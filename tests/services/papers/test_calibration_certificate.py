"""A calibration certificate: figures, uncertainty, decision rule, and what is at odds with them."""

from __future__ import annotations

from typing import Any

import pytest

from pitbird.services.papers.calibration_certificate import calibration_certificate
from pitbird.services.papers.making import NoSuchPaper, Order
from tests.bodies import at, bump, ms
from tests.papers import pdf
from tests.services.papers.conftest import Say

GAS = {
    "kind": "cylinder", "cylinder": "cylinder:C-300", "balance": "nitrogen", "expires": "2027-10-06",
    "lot": "L-7", "certificate": "TG-7", "traceable_to": "mass, by gravimetric preparation",
    "minimum_pressure_bar": "2", "home": "site:north-works",
    "components": [
        {"gas": "carbon monoxide", "amount": "100", "unit": "ppm", "expanded_uncertainty_pct": "5"},
        {"gas": "hydrogen sulfide", "amount": "20", "unit": "ppm"},
    ],
}  # fmt: skip


WHOLE = {
    "v": 1, "at": at("08:00"), "zone": "Europe/Lisbon", "by": "person:K-1", "where": "site:north-works",
    "about": ["detector:D-017", "cylinder:C-300"],
}  # fmt: skip


def calibration(**fields: Any) -> dict[str, Any]:
    return {
        "kind": "calibration", "detector": "detector:D-017", "cylinders": ["cylinder:C-300"], "zeroed": "yes",
        "channels": [
            {"channel": "CO", "applied": "100", "as_found": "88", "as_left": "94", "result": "within"},
            {"channel": "H2S", "applied": "20", "as_found": "19", "as_left": "20", "result": "within"},
        ],
        "tolerance_pct": "10", "result": "passed", **fields,
    }  # fmt: skip


@pytest.fixture
def kept_gas(say: Say) -> Say:
    """The small book with a certified cylinder."""
    say(GAS, by="person:K-1", now=ms("06:00"))
    return say


def test_it_says_as_found_as_left_and_how_far_off(kept_gas: Say, order: Order) -> None:
    index = kept_gas(calibration(), by="person:K-1")
    made = calibration_certificate(index, order)
    told = pdf.words(made.pdf)
    assert made.name == f"calibration-{index}.pdf"
    # CO: 5 % of 100 ppm by the certificate, a display step of 1 ppm: 2 sqrt(2.5² + 1/12) = 5.03 (JCGM 100).
    assert "CO ppm 100 88 −12 94 −6 5 10 within, but not beyond its uncertainty" in told
    # H2S: the certificate states no uncertainty.
    assert "H2S ppm 20 19 −1 20 0 not known 2 within" in told
    for words in (
        "Passed, Mon 2 Mar 2026, 08:00 WET, by Ilda Fontanova (K-1).",
        "NO training in calibration on record then",
        "simple acceptance (JCGM 106:2012, 8.2)",
        "Traceable to mass, by gravimetric preparation",
        "Uncertainty of carbon monoxide 5 % (k = 2)",
        "No accuracy beyond the figures above is claimed",
        "no certificate of an accredited laboratory",
    ):
        assert words in told, words
    pdf.assert_archival(made.pdf, title="Calibration of detector D-017")


def test_figures_that_lie_outside_what_is_stated_are_loud(kept_gas: Say, order: Order) -> None:
    channels = [{"channel": "CO", "applied": "100", "as_left": "111", "result": "within"}]
    told = pdf.words(calibration_certificate(kept_gas(calibration(channels=channels)), order).pdf)
    assert "What is stated is not what the figures say" in told
    assert "CO: stated as within, but the figures lie outside the tolerance." in told
    assert "OUTSIDE by the figures" in told


def test_a_figure_just_at_the_tolerance_is_within(kept_gas: Say, order: Order) -> None:
    channels = [{"channel": "CO", "applied": "100", "as_left": "110", "result": "within"}]
    told = pdf.words(calibration_certificate(kept_gas(calibration(channels=channels)), order).pdf)
    assert "What is stated is not" not in told
    assert "within, but not beyond its uncertainty" in told


def test_a_channel_outside_is_loud_in_its_row(kept_gas: Say, order: Order) -> None:
    channels = [{"channel": "CO", "applied": "100", "as_found": "60", "result": "outside"}]
    draft = calibration(channels=channels, result="failed")
    told = pdf.words(calibration_certificate(kept_gas(draft), order).pdf)
    assert "Failed, Mon 2 Mar 2026" in told
    assert "CO ppm 100 60 −40 not recorded – 5 10 OUTSIDE" in told


def test_without_a_tolerance_nothing_is_decided(kept_gas: Say, order: Order) -> None:
    draft = calibration()
    del draft["tolerance_pct"]
    told = pdf.words(calibration_certificate(kept_gas(draft), order).pdf)
    assert "No tolerance was written down" in told
    assert "within, as stated" in told


def test_a_calibration_without_a_cylinder_cannot_be_traced(kept_gas: Say, order: Order) -> None:
    told = pdf.words(calibration_certificate(kept_gas(calibration(cylinders=[])), order).pdf)
    assert "No cylinder is named: the gas cannot be traced." in told


def test_gas_in_quarantine_is_loud(kept_gas: Say, order: Order) -> None:
    kept_gas(
        {"kind": "cylinder-quarantined", "cylinder": "cylinder:C-300", "because": "suspect-contents"},
        now=ms("07:00"),
    )
    told = pdf.words(calibration_certificate(kept_gas(calibration()), order).pdf)
    assert "Cylinder C-300 was in quarantine then" in told
    assert "its contents are in doubt" in told


def test_a_replaced_calibration_prints_what_stands_instead(kept_gas: Say, order: Order) -> None:
    draft = {**calibration(), "id": "0195a222-0000-7000-8000-000000000001"}
    index = kept_gas(draft)
    channels = [{"channel": "CO", "applied": "100", "as_left": "97", "result": "within"}]
    correction = kept_gas(
        {"kind": "correction", "corrects": draft["id"], "how": "replace", "reason": "A slip of the pen",
         "replacement": {**WHOLE, **calibration(channels=channels), "id": draft["id"]}},
        by="person:K-1", now=ms("09:00"),
    )  # fmt: skip
    told = pdf.words(calibration_certificate(index, order).pdf)
    assert f"The figures are those that entry {correction} put in its place." in told
    assert "CO ppm 100 not recorded – 97 −3" in told


def test_a_voided_calibration_counts_for_nothing(kept_gas: Say, order: Order) -> None:
    draft = {**calibration(), "id": "0195a222-0000-7000-8000-000000000002"}
    index = kept_gas(draft)
    kept_gas(
        {"kind": "correction", "corrects": draft["id"], "how": "void", "reason": "Never done"},
        by="person:K-1", now=ms("09:00"),
    )  # fmt: skip
    told = pdf.words(calibration_certificate(index, order).pdf)
    assert "THE FIGURES BELOW COUNT FOR NOTHING" in told
    assert "Corrected, nothing of it counts; written as passed" in told
    assert f"entry {index} · DOES NOT COUNT" in told
    assert "Passed," not in told


def test_another_kind_of_entry_is_refused(say: Say, order: Order) -> None:
    index = say(bump(at("07:30")))
    with pytest.raises(NoSuchPaper, match=f"entry {index} is a bump-test, not a calibration"):
        calibration_certificate(index, order)
