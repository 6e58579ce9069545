"""Rooms: worked examples of ventilation manuals, closed forms against integration, laws that must hold."""

from __future__ import annotations

from math import exp, isinf

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from pitbird.science.rooms import (
    Course,
    air_changes,
    build_up,
    build_up_time,
    displaced_oxygen_vol_pct,
    half_life,
    one_zone,
    two_zones,
    ventilation_divided,
    ventilation_multiplied,
)

FOOT3 = 0.028316846592  # m³, exact


# --- Worked examples from outside


def test_build_up_of_the_industrial_ventilation_manual() -> None:
    """ACGIH, Industrial Ventilation: 1.2 cfm into 2000 cfm (effective), 100 000 ft³; to 200 ppm in 20.3 min.

    Inputs from memory (high); the same by hand.
    """
    assert build_up_time(1.2, 2000, 100_000, 200e-6) == pytest.approx(20.3, abs=0.05)
    assert build_up(1.2, 2000, 100_000, 60) * 1e6 == pytest.approx(419, abs=0.5)
    assert build_up(1.2, 2000, 100_000, 1e9) * 1e6 == pytest.approx(600)
    assert isinf(build_up_time(1.2, 2000, 100_000, 601e-6))


def test_the_room_answers_the_same_example_to_within_its_own_gas() -> None:
    course = one_zone(1.2 * 60, 100_000, ventilation_m3_min=2000, release_min=60)
    assert course.share(20.273) * 1e6 == pytest.approx(200, rel=1e-3)
    assert course.share(60) * 1e6 == pytest.approx(419.28, rel=1e-3)


def test_ventilation_from_a_half_life() -> None:
    """M. Jayjock, note on box models: 20 m³ and a half-life of 1.4 h are 9.9 m³/h."""
    assert half_life(9.9, 20) == pytest.approx(1.4, rel=1e-3)


def test_purging_with_a_mixing_efficiency() -> None:
    """Design Guide for HVAC Systems (2000, rev. 2006): 20 % to 1.4 % at K = 0.2: 13.3 changes, 6.65 min."""
    effective_changes_per_min = ventilation_multiplied(2, 0.2)
    assert air_changes(20, 1.4) / 0.2 == pytest.approx(13.3, abs=0.05)
    assert air_changes(20, 1.4) / effective_changes_per_min == pytest.approx(6.65, abs=0.005)


def test_a_cylinder_emptied_into_a_room_of_a_thousand_cubic_feet_and_of_a_thousand_cubic_metres() -> None:
    """Common practice, no source: 34 L of 25 ppm: 0.03 ppm, and 0.00085 ppm."""
    assert one_zone(0.034, 1000 * FOOT3).share(0) * 25 == pytest.approx(0.03, abs=5e-4)
    assert one_zone(0.034, 1000).share(0) * 25 == pytest.approx(0.00085, abs=5e-7)


def test_the_two_conventions_of_the_mixing_factor_refuse_each_other() -> None:
    assert ventilation_divided(2000, 4) == 500
    assert ventilation_multiplied(2000, 0.25) == 500
    with pytest.raises(ValueError, match="divides is 1 or more"):
        ventilation_divided(2000, 0.25)
    with pytest.raises(ValueError, match="at most 1"):
        ventilation_multiplied(2000, 4)


def test_inert_gas_in_a_closed_cupboard() -> None:
    """By hand: 116 L in 1 m³ leave 20.9 x 0.884 = 18.5 % unmixed, 20.9 exp(-0.116) = 18.6 % mixed."""
    assert displaced_oxygen_vol_pct(0.116, 1) == pytest.approx(18.48, abs=0.01)
    assert 20.9 * (1 - one_zone(0.116, 1).share(0)) == pytest.approx(18.61, abs=0.01)


# --- One zone, against integration of its equation


def integrated(
    released: float, room: float, ventilation: float, release: float, times: list[float]
) -> list[float]:
    """The mass balance integrated, each phase on its own."""

    def balance(_: float, y: list[float], flow: float) -> list[float]:
        return [(flow * (1 - y[0]) - ventilation * y[0]) / room, y[0]]

    def run(start: list[float], length: float, flow: float, at: list[float]) -> list[list[float]]:
        out = solve_ivp(
            balance, (0, length), start, "LSODA", t_eval=[*at, length], args=(flow,), rtol=1e-10, atol=1e-14
        )
        return [list(state) for state in out.y.T]

    early, late = [t for t in times if t < release], [t - release for t in times if t >= release]
    *first, end = run([0, 0], release, released / release, early)
    *rest, _ = run(end, max(late) + 1, 0.0, late)
    return [state[0] for state in first + rest] + [state[1] for state in first + rest]


@given(st.floats(0.001, 2), st.floats(2, 200), st.floats(0, 10), st.floats(0.5, 600))
@settings(max_examples=25)
def test_one_zone_is_the_solution_of_its_mass_balance(
    released: float, room: float, ventilation: float, release: float
) -> None:
    course = one_zone(released, room, ventilation_m3_min=ventilation, release_min=release)
    times = sorted([release / 3, release / 2, release * 1.01, release + 20, release + 200])
    found = [course.share(t) for t in times] + [course.integral(t) for t in times]
    assert found == pytest.approx(integrated(released, room, ventilation, release, times), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("ventilation", [0.0, 0.5, 5.0])
@pytest.mark.parametrize("release", [0.0, 5.0, 15.0, 40.0, 1000.0])
def test_no_window_of_fifteen_minutes_has_a_higher_mean(ventilation: float, release: float) -> None:
    course = one_zone(0.5, 20, ventilation_m3_min=ventilation, release_min=release)
    best = course.highest_mean(15)
    tried = [course.mean(float(start), 15) for start in np.linspace(0, release + 60, 4001)]
    assert max(tried) <= best * (1 + 1e-9)
    assert max(tried) == pytest.approx(best, rel=1e-4)


def test_the_mean_of_eight_hours_begins_with_the_release() -> None:
    """By hand: no ventilation, ten minutes of release: 5 minutes of 480 are lost on the ramp."""
    shares = one_zone(0.001, 100, release_min=10).shares()
    assert shares.mean_8h / shares.peak == pytest.approx(475 / 480, rel=1e-6)
    assert shares.mean_15min == pytest.approx(shares.peak)


def test_a_release_that_lasts_longer_than_a_shift_counts_the_worst_shift() -> None:
    course = one_zone(1.0, 20, ventilation_m3_min=0.05, release_min=1000)
    assert course.shares().mean_8h == pytest.approx(course.highest_mean(480))
    assert course.shares().mean_8h > course.mean(0, 480)


def test_at_once_is_the_limit_of_ever_faster() -> None:
    fast = one_zone(0.5, 3, ventilation_m3_min=0.5, release_min=1e-7).shares()
    at_once = one_zone(0.5, 3, ventilation_m3_min=0.5).shares()
    assert [fast.peak, fast.mean_15min, fast.mean_8h] == pytest.approx(
        [at_once.peak, at_once.mean_15min, at_once.mean_8h], rel=1e-6
    )
    assert at_once.peak == pytest.approx(1 - exp(-0.5 / 3))


rooms = st.floats(1, 500)
gas = st.floats(0.0001, 0.9)
flows = st.floats(0, 20)
lengths = st.one_of(st.just(0.0), st.floats(0.1, 700))


@given(rooms, gas, flows, lengths)
@settings(max_examples=60)
def test_gas_that_came_in_is_in_the_room_or_went_out(
    room: float, released: float, ventilation: float, release: float
) -> None:
    """Over any time: released = held + carried out by the ventilation and by the gas's own flow."""
    course = one_zone(released, room, ventilation_m3_min=ventilation, release_min=release)
    late = release + 100
    held, out = room * course.share(late), ventilation * course.integral(late)
    if release:
        out += released / release * course.integral(release)
    else:
        out += released - room * course.share(0)
    assert held + out == pytest.approx(released, rel=1e-8)


@example(1.0, 0.5, 0.5, 2.220446049250313e-16, 5e-324, 1.5)
@given(rooms, gas, gas, flows, flows, lengths)
@settings(max_examples=60)
def test_more_gas_is_more_and_more_ventilation_less(
    room: float, one: float, other: float, q1: float, q2: float, release: float
) -> None:
    less, more = sorted((one, other))
    low, high = sorted((q1, q2))

    def figures(released: float, ventilation: float) -> list[float]:
        s = one_zone(released, room, ventilation_m3_min=ventilation, release_min=release).shares()
        return [s.peak, s.mean_15min, s.mean_8h]

    for least, most in (
        (figures(less, low), figures(more, low)),
        (figures(less, high), figures(less, low)),
    ):
        assert all(a <= b * (1 + 1e-9) for a, b in zip(least, most, strict=True))


@given(rooms, gas, flows, lengths)
@settings(max_examples=60)
def test_a_longer_mean_is_never_higher_than_a_shorter_or_the_peak(
    room: float, released: float, ventilation: float, release: float
) -> None:
    shares = one_zone(released, room, ventilation_m3_min=ventilation, release_min=release).shares()
    assert 0 <= shares.mean_8h <= shares.mean_15min <= shares.peak < 1


# --- Two zones


def nicas(t: float, g: float, near: float, far: float, beta: float, q: float) -> tuple[float, float]:
    """M. Nicas 1996 (AIHA Mathematical Models, two-zone model): closed form for small steady release."""
    root = ((beta * far + near * (beta + q)) ** 2 - 4 * near * far * beta * q) ** 0.5
    l1 = 0.5 * (-(beta * far + near * (beta + q)) + root) / (near * far)
    l2 = 0.5 * (-(beta * far + near * (beta + q)) - root) / (near * far)
    a = (beta * q + l2 * near * (beta + q)) / (beta * q * near * (l1 - l2))
    b = (beta * q + l1 * near * (beta + q)) / (beta * q * near * (l1 - l2))
    c_near = g / q + g / beta + g * a * exp(l1 * t) - g * b * exp(l2 * t)
    c_far = (
        g / q
        + g * (l1 * near + beta) / beta * a * exp(l1 * t)
        - g * (l2 * near + beta) / beta * b * exp(l2 * t)
    )
    return c_near, c_far


@pytest.mark.parametrize("t", [0.5, 3.0, 20.0, 90.0])
def test_two_zones_are_the_published_closed_form_where_the_release_is_small(t: float) -> None:
    near, far, beta, q, g = 2.0, 98.0, 4.0, 5.0, 1e-6
    course = two_zones(
        g * 100, near + far, near_m3=near, interzonal_m3_min=beta, ventilation_m3_min=q, release_min=100
    )
    assert (course.near.share(t), course.far.share(t)) == pytest.approx(
        nicas(t, g, near, far, beta, q), rel=1e-5
    )


def test_steady_state_of_the_two_zones() -> None:
    """M. Nicas 1996: far G/Q, near G/Q + G/beta."""
    course = two_zones(1e-6 * 1e5, 100, near_m3=1, interzonal_m3_min=2, ventilation_m3_min=3, release_min=1e5)
    assert course.far.share(1e5) == pytest.approx(1e-6 / 3, rel=1e-5)
    assert course.near.share(1e5) == pytest.approx(1e-6 / 3 + 1e-6 / 2, rel=1e-5)


@given(
    st.floats(0.001, 0.5),
    st.floats(3, 100),
    st.floats(0.1, 2),
    st.floats(0.05, 20),
    st.floats(0, 5),
    st.floats(0.5, 60),
)
@settings(max_examples=20)
def test_two_zones_are_the_solution_of_their_mass_balances(
    released: float, room: float, near: float, beta: float, ventilation: float, release: float
) -> None:
    far, flow = room - near, released / release
    course = two_zones(
        released,
        room,
        near_m3=near,
        interzonal_m3_min=beta,
        ventilation_m3_min=ventilation,
        release_min=release,
    )

    def balance(_: float, y: list[float], g: float) -> list[float]:
        return [
            (g * (1 - y[0]) + beta * (y[1] - y[0])) / near,
            ((beta + g) * (y[0] - y[1]) - ventilation * y[1]) / far,
        ]

    first = solve_ivp(balance, (0, release), [0, 0], "LSODA", args=(flow,), rtol=1e-9, atol=1e-13)
    second = solve_ivp(balance, (0, 30), first.y[:, -1], "LSODA", args=(0.0,), rtol=1e-9, atol=1e-13)
    for t, (s_near, s_far) in ((release, first.y[:, -1]), (release + 30, second.y[:, -1])):
        assert course.near.share(t) == pytest.approx(s_near, rel=1e-5, abs=1e-9)
        assert course.far.share(t) == pytest.approx(s_far, rel=1e-5, abs=1e-9)


@given(st.floats(0.001, 0.9), st.floats(3, 100), st.floats(0.1, 2), flows, st.floats(0.1, 700))
@settings(max_examples=30)
def test_a_large_flow_between_the_zones_makes_one_room_of_them(
    released: float, room: float, near: float, ventilation: float, release: float
) -> None:
    two = two_zones(
        released,
        room,
        near_m3=near,
        interzonal_m3_min=1e5,
        ventilation_m3_min=ventilation,
        release_min=release,
    )
    one = one_zone(released, room, ventilation_m3_min=ventilation, release_min=release)
    assert two.far.highest_mean(15) == pytest.approx(one.highest_mean(15), rel=2e-3)
    assert two.far.mean(0, 480) == pytest.approx(one.mean(0, 480), rel=2e-3)
    assert two.near.mean(0, 480) == pytest.approx(one.mean(0, 480), rel=2e-3)


@given(st.floats(0.001, 0.9), st.floats(3, 100), st.floats(0.1, 2))
@settings(max_examples=30)
def test_gas_let_out_at_once_near_someone_pushes_less_of_itself_out_than_in_a_mixed_room(
    released: float, room: float, near: float
) -> None:
    two = two_zones(released, room, near_m3=near, interzonal_m3_min=1e5)
    mixed = one_zone(released, room).share(0)
    assert mixed * (1 - 1e-9) <= two.far.share(10) <= released / room * (1 + 1e-9)


@pytest.mark.parametrize("near", [0.5, 5.0, 9.5])
def test_a_release_at_once_is_the_limit_of_ever_faster_in_two_zones_too(near: float) -> None:
    fast = two_zones(0.8, 10, near_m3=near, interzonal_m3_min=0.5, ventilation_m3_min=1, release_min=1e-6)
    at_once = two_zones(0.8, 10, near_m3=near, interzonal_m3_min=0.5, ventilation_m3_min=1)
    for t in (0.1, 5.0, 60.0):
        assert fast.near.share(t) == pytest.approx(at_once.near.share(t), rel=1e-5)
        assert fast.far.share(t) == pytest.approx(at_once.far.share(t), rel=1e-5)


two_zone_rooms = st.tuples(
    st.floats(0.001, 0.9),
    st.floats(3, 100),
    st.floats(0.1, 2),
    st.floats(0.01, 20),
    st.floats(0, 20),
    lengths,
)


@given(two_zone_rooms)
@settings(max_examples=20)
def test_gas_in_two_zones_is_in_the_room_or_went_out(
    room_of: tuple[float, float, float, float, float, float],
) -> None:
    released, room, near, beta, ventilation, release = room_of
    course = two_zones(
        released,
        room,
        near_m3=near,
        interzonal_m3_min=beta,
        ventilation_m3_min=ventilation,
        release_min=release,
    )
    late = release + 60
    held = near * course.near.share(late) + (room - near) * course.far.share(late)
    out = ventilation * course.far.integral(late)
    if release:
        out += released / release * course.far.integral(release)
    else:
        out += released - near * course.near.share(0) - (room - near) * course.far.share(0)
    assert held + out == pytest.approx(released, rel=1e-7)


@given(two_zone_rooms)
@settings(max_examples=15)
def test_near_the_release_it_is_never_less_than_in_the_rest_of_the_room(
    room_of: tuple[float, float, float, float, float, float],
) -> None:
    released, room, near, beta, ventilation, release = room_of
    zones = two_zones(
        released,
        room,
        near_m3=near,
        interzonal_m3_min=beta,
        ventilation_m3_min=ventilation,
        release_min=release,
    )
    close, rest = zones.near.shares(), zones.far.shares()
    assert close.peak >= rest.peak * (1 - 1e-7)
    assert close.mean_15min >= rest.mean_15min * (1 - 1e-7)
    assert close.mean_15min <= close.peak * (1 + 1e-9)
    assert rest.mean_15min <= rest.peak * (1 + 1e-9)


def test_the_far_zone_is_highest_some_time_after_the_release() -> None:
    course = two_zones(0.05, 50, near_m3=1, interzonal_m3_min=0.5, ventilation_m3_min=1, release_min=1).far
    tried = {float(t): course.share(float(t)) for t in np.linspace(0, 60, 2001)}
    best = max(tried, key=tried.__getitem__)
    assert course.peak_at_min == pytest.approx(best, abs=0.05)
    assert course.peak_at_min > 1


@pytest.mark.parametrize("zone", ["near", "far"])
@pytest.mark.parametrize("release", [0.0, 8.0])
def test_the_integral_is_that_of_the_share(zone: str, release: float) -> None:
    zones = two_zones(0.1, 20, near_m3=1, interzonal_m3_min=1, ventilation_m3_min=0.3, release_min=release)
    course: Course = getattr(zones, zone)
    whole, _ = quad(course.share, 0, 40, points=[release] if release else None, epsabs=1e-12)
    assert course.integral(40) == pytest.approx(whole, rel=1e-7)


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"room_m3": 0.0}, "room_m3"),
        ({"room_m3": -1.0}, "room_m3"),
        ({"released_m3": -0.1}, "released_m3"),
        ({"released_m3": 11.0}, "released_m3"),
        ({"ventilation_m3_min": -1.0}, "0 or more"),
        ({"release_min": -1.0}, "0 or more"),
        ({"near_m3": 10.0}, "near_m3"),
        ({"near_m3": 0.0}, "near_m3"),
        ({"interzonal_m3_min": 0.0}, "interzonal_m3_min"),
    ],
)
def test_a_room_that_cannot_be_is_refused(changed: dict[str, float], told: str) -> None:
    room = {"released_m3": 0.1, "room_m3": 10.0, "near_m3": 1.0, "interzonal_m3_min": 1.0} | changed
    with pytest.raises(ValueError, match=told):
        two_zones(**room)
