"""Fits of simulated fleets against other programs: R survival and npsurv, surpyval, lifelines, scipy."""

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pitbird.science.reliability.exponential import fit_exponential
from pitbird.science.reliability.npmle import fit_npmle
from pitbird.science.reliability.spans import Spans, spans
from pitbird.science.reliability.weibull import fit_weibull

VECTORS = Path(__file__).parent / "vectors"
YEAR = 365.25


def _fleets() -> dict[str, Spans]:
    rows: dict[str, list[tuple[float, float]]] = {}
    with (VECTORS / "fleets.csv").open() as file:
        for row in csv.DictReader(file):
            rows.setdefault(row["fleet"], []).append((float(row["left"]), float(row["right"])))
    return {name: spans(*np.array(ends).T / YEAR) for name, ends in rows.items()}


FLEETS = _fleets()


def _said() -> list[tuple[str, str, dict[str, Any]]]:
    by_python = json.loads((VECTORS / "python.json").read_text())
    by_r = json.loads((VECTORS / "r.json").read_text())
    assert set(by_python) == set(by_r) == set(FLEETS)
    said = [(name, program, answer) for name, each in by_python.items() for program, answer in each.items()]
    return said + [(name, "R", answer) for name, answer in by_r.items()]


SAID = _said()
each_program = pytest.mark.parametrize(
    ("fleet", "program", "said"), SAID, ids=[f"{program}, {name}" for name, program, _ in SAID]
)
#: R and surpyval stop tightly; lifelines and scipy leave the last digits of the estimates open.
LOOSE = {"R": 1e-5, "surpyval": 2e-5, "lifelines": 2e-3, "scipy": 2e-3}


@each_program
def test_the_weibull_fit_is_as_likely_and_the_same(fleet: str, program: str, said: dict[str, float]) -> None:
    fit = fit_weibull(FLEETS[fleet])
    assert fit.log_likelihood is not None
    assert fit.log_likelihood >= said["weibull_ll"] - 1e-9
    assert fit.log_likelihood == pytest.approx(said["weibull_ll"], rel=1e-6)
    assert fit.shape == pytest.approx(said["shape"], rel=LOOSE[program])
    assert fit.scale == pytest.approx(said["scale"], rel=LOOSE[program])


@each_program
def test_the_exponential_fit_is_as_likely_and_the_same(
    fleet: str, program: str, said: dict[str, float]
) -> None:
    if program == "scipy":
        assert "rate" not in said  # scipy was asked for the Weibull life only
        return
    fit = fit_exponential(FLEETS[fleet])
    assert fit.log_likelihood >= said["exponential_ll"] - 1e-9
    assert fit.log_likelihood == pytest.approx(said["exponential_ll"], rel=1e-6)
    assert fit.rate == pytest.approx(said["rate"], rel=LOOSE[program])


@pytest.mark.parametrize("fleet", FLEETS)
def test_the_fit_without_a_form_is_as_likely(fleet: str) -> None:
    fit = fit_npmle(FLEETS[fleet])
    for said in (answer for name, _, answer in SAID if name == fleet and "free_ll" in answer):
        assert fit.log_likelihood >= said["free_ll"] - 1e-7
        assert fit.log_likelihood == pytest.approx(said["free_ll"], rel=1e-6)
