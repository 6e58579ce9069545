"""Fleets with failures that show only at tests, and what surpyval, lifelines and scipy make of them.

Run with an environment that has surpyval 0.25, lifelines 0.30.3 and scipy 1.17: writes fleets.csv (days)
beside itself, and python.json. The fits are in years: the exponential fit of lifelines and the default start
of scipy fail on large numbers; scipy is given a start. The form-free fit of lifelines is left out: it takes
intervals as closed on both sides. make_vectors.R reads fleets.csv and writes r.json.
"""

from __future__ import annotations

import csv
import json
import warnings
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

HERE = Path(__file__).parent
YEAR = 365.25


def fleets() -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Named fleets: left and right ends in days, right infinite for those still good."""
    random = np.random.default_rng(20_261_125)
    out = {}
    for number, (sensors, shape, scale, whole, kind) in enumerate(
        [
            (25, 1.0, 900, True, "tests"), (60, 1.6, 700, True, "tests"), (200, 0.8, 1200, True, "tests"),
            (400, 2.5, 800, True, "tests"), (60, 1.6, 700, False, "tests"), (200, 1.0, 1000, False, "tests"),
            (400, 0.7, 1500, False, "tests"), (80, 1.5, 600, True, "once"), (300, 2.0, 500, False, "once"),
            (150, 1.2, 900, False, "once"),
        ]
    ):  # fmt: skip
        life = scale * random.weibull(shape, sensors)
        end = random.uniform(400, 1500, sensors)
        gap = random.uniform(5, 120, sensors)
        if whole:
            end, gap = np.ceil(end), np.ceil(gap)
        if kind == "once":
            left, right = np.where(life > end, end, 0), np.where(life > end, np.inf, end)
        else:
            left = np.floor(np.minimum(life, end) / gap) * gap
            right = np.where(left + gap > end, np.inf, left + gap)
        days = "whole days" if whole else "no ties"
        out[f"{number}: {sensors} sensors, {kind}, {days}"] = (np.round(left, 3), np.round(right, 3))
    return out


def surpyval_says(left: np.ndarray, right: np.ndarray) -> dict[str, Any]:
    """Both parametric fits, and the form-free one with its Kaplan-Meier option."""
    surpyval = import_module("surpyval")
    weibull = surpyval.Weibull.fit(xl=left, xr=right)
    exponential = surpyval.Exponential.fit(xl=left, xr=right)
    free = surpyval.Turnbull.fit(xl=left, xr=right, turnbull_estimator="Kaplan-Meier")
    return {
        "scale": weibull.params[0], "shape": weibull.params[1], "weibull_ll": -weibull.neg_ll(),
        "rate": exponential.params[0], "exponential_ll": -exponential.neg_ll(),
        "free_ll": free_ll(free, left, right),
    }  # fmt: skip


def free_ll(free: Any, left: np.ndarray, right: np.ndarray) -> float:
    """Log-likelihood of a step function by its own survival at the ends."""

    def alive(age: np.ndarray) -> np.ndarray:
        index = np.searchsorted(free.x, age, side="right") - 1
        return np.where(index < 0, 1.0, free.R[np.maximum(index, 0)])

    chance = alive(left) - np.where(np.isinf(right), 0.0, alive(np.where(np.isinf(right), 0, right)))
    return float(np.log(chance).sum())


def lifelines_says(left: np.ndarray, right: np.ndarray) -> dict[str, Any]:
    """Both parametric fits."""
    lifelines = import_module("lifelines")
    weibull = lifelines.WeibullFitter().fit_interval_censoring(left, right)
    exponential = lifelines.ExponentialFitter().fit_interval_censoring(left, right)
    return {
        "scale": weibull.lambda_, "shape": weibull.rho_, "weibull_ll": weibull.log_likelihood_,
        "rate": 1 / exponential.lambda_, "exponential_ll": exponential.log_likelihood_,
    }  # fmt: skip


def scipy_says(left: np.ndarray, right: np.ndarray) -> dict[str, Any]:
    """The Weibull fit, with a start."""
    from scipy.stats import CensoredData, weibull_min

    failed = np.isfinite(right)
    data = CensoredData(
        left=right[failed & (left == 0)],
        interval=np.column_stack((left, right))[failed & (left > 0)],
        right=left[~failed],
    )
    shape, _, scale = weibull_min.fit(data, 1.2, floc=0, scale=float(np.median(left)) + 1)
    life = weibull_min(shape, scale=scale)
    chance = np.where(failed, life.cdf(right) - life.cdf(left), life.sf(left))
    return {"scale": scale, "shape": shape, "weibull_ll": np.log(chance).sum()}


def main() -> None:
    """Write both files."""
    warnings.simplefilter("ignore")
    made = fleets()
    with (HERE / "fleets.csv").open("w", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["fleet", "left", "right"])
        for name, (left, right) in made.items():
            rows.writerows([name, f"{a:.10g}", f"{b:.10g}"] for a, b in zip(left, right, strict=True))
    said = {
        name: {
            program.__name__.removesuffix("_says"): {
                key: float(value) for key, value in program(left / YEAR, right / YEAR).items()
            }
            for program in (surpyval_says, lifelines_says, scipy_says)
        }
        for name, (left, right) in made.items()
    }
    (HERE / "python.json").write_text(json.dumps(said, indent=1) + "\n")


if __name__ == "__main__":
    main()
