"""The expanded uncertainty of a deviation found at a calibration."""

import pytest

from pitbird.science.calibration_deviations import expanded_deviation


def test_the_gas_alone_gives_back_what_its_certificate_states() -> None:
    assert expanded_deviation(20.0, 5.0, 0.0) == pytest.approx(1.0)


def test_the_display_alone_is_a_rectangle_of_its_step() -> None:
    """JCGM 100:2008, F.2.2.1: u = 0.29 times the step; k = 2."""
    assert expanded_deviation(0.0, 5.0, 1.0) == pytest.approx(2 * 0.29, abs=0.005)


def test_independent_parts_add_in_squares() -> None:
    """JCGM 100:2008, 5.1.2: u_c² is the sum of the squares; 2 sqrt(2.5² + 1/12) worked out by hand."""
    assert expanded_deviation(100.0, 5.0, 1.0) == pytest.approx(5.0332, abs=5e-5)


@pytest.mark.parametrize(("gas_pct", "step"), [(-1.0, 1.0), (1.0, -1.0)])
def test_parts_below_zero_are_refused(gas_pct: float, step: float) -> None:
    with pytest.raises(ValueError, match="not below zero"):
        expanded_deviation(20.0, gas_pct, step)
