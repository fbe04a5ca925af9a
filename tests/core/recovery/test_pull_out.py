"""Pull-out closed forms against the worked rows, an integrator outside the project, and their own scaling."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from tests.authorities.pull_out_forms import constant_radius_loss_m, constant_speed_loss_m
from tests.authorities.pull_out_rows import PRINTED_STEP_FT, PRINTED_STEP_KT, ROWS

from spinfloor.core.recovery.pull_out import (
    PullOutError,
    constant_load_loss_m,
    pull_out_loss_m,
)
from spinfloor.core.units import METRES_PER_FOOT, METRES_PER_SECOND_PER_KNOT, STANDARD_GRAVITY_MPS2

speeds = st.floats(20.0, 200.0)
loads = st.floats(1.2, 9.0)
angles = st.floats(0.05, math.pi / 2)


@pytest.mark.parametrize(("knots", "n", "deg", "speed_ft", "radius_ft", "load_ft", "after_kt"), ROWS)
def test_worked_rows(
    knots: float, n: float, deg: float, speed_ft: float, radius_ft: float, load_ft: float, after_kt: float
) -> None:
    v, angle = knots * METRES_PER_SECOND_PER_KNOT, math.radians(deg)
    tolerance = PRINTED_STEP_FT  # one unit of the last printed digit: 1.687810 ft/s a knot is itself rounded
    assert constant_speed_loss_m(v, n, angle) / METRES_PER_FOOT == pytest.approx(speed_ft, abs=tolerance)
    assert constant_radius_loss_m(v, n, angle) / METRES_PER_FOOT == pytest.approx(radius_ft, abs=tolerance)
    loss_m = pull_out_loss_m(v, n, angle)
    assert loss_m / METRES_PER_FOOT == pytest.approx(load_ft, abs=tolerance)
    after = math.sqrt(v * v + 2.0 * STANDARD_GRAVITY_MPS2 * loss_m) / METRES_PER_SECOND_PER_KNOT
    assert after == pytest.approx(after_kt, abs=PRINTED_STEP_KT)


@given(speeds, loads, angles, st.floats(0.05, 0.95))
def test_no_more_is_left_of_a_pull_out_than_the_square_of_the_sink_says(
    v: float, n: float, g0: float, part: float
) -> None:
    """Constant load, no drag: V (n - cos gamma) stays; counted from the largest sink on (docs/method/pull-out.md)."""

    def speed(gamma: float) -> float:
        return v * (n - math.cos(g0)) / (n - math.cos(gamma))

    steepest = min(g0, math.acos(1.0 / n))  # where V sin(gamma) is largest: cos gamma = 1/n
    gamma = part * steepest
    share = pull_out_loss_m(speed(gamma), n, gamma) / pull_out_loss_m(speed(steepest), n, steepest)
    sink, largest = speed(gamma) * math.sin(gamma), speed(steepest) * math.sin(steepest)
    assert share <= (sink / largest) ** 2 * (1.0 + 1e-9)


def _integrated_loss(v0: float, n: float, gamma0: float, *, thrust_equals_drag: bool) -> float:
    """Point mass by scipy's DOP853: gamma below the horizon, no drag, or drag and thrust holding the speed."""
    g = STANDARD_GRAVITY_MPS2

    def rates(_t: float, y: list[float]) -> list[float]:
        v, gamma, _ = y
        return [0.0 if thrust_equals_drag else g * math.sin(gamma), -g * (n - math.cos(gamma)) / v, v * math.sin(gamma)]

    def level(_t: float, y: list[float]) -> float:
        return y[1]

    level.terminal = True  # type: ignore[attr-defined]  # how scipy is told to stop there
    done = solve_ivp(rates, (0.0, 600.0), [v0, gamma0, 0.0], method="DOP853", events=level, rtol=1e-10, atol=1e-10)
    assert done.status == 1
    return float(done.y_events[0][0][2])


@pytest.mark.parametrize(("knots", "n", "deg"), [row[:3] for row in ROWS])
def test_against_integration(knots: float, n: float, deg: float) -> None:
    v, angle = knots * METRES_PER_SECOND_PER_KNOT, math.radians(deg)
    assert_allclose(pull_out_loss_m(v, n, angle), _integrated_loss(v, n, angle, thrust_equals_drag=False), rtol=1e-7)
    assert_allclose(
        constant_speed_loss_m(v, n, angle), _integrated_loss(v, n, angle, thrust_equals_drag=True), rtol=1e-7
    )


@given(speeds, loads, angles)
def test_order_and_scaling(v: float, n: float, angle: float) -> None:
    low, middle, high = (f(v, n, angle) for f in (constant_speed_loss_m, constant_radius_loss_m, pull_out_loss_m))
    assert low < middle < high
    assert_allclose(pull_out_loss_m(2.0 * v, n, angle), 4.0 * high, rtol=1e-12)
    assert pull_out_loss_m(v, n + 0.5, angle) < high


@pytest.mark.parametrize("n", [1.0, 0.5, -2.0, math.nan, math.inf])
def test_no_pull_out_at_one_g_or_less(n: float) -> None:
    with pytest.raises(PullOutError, match="never comes level"):
        pull_out_loss_m(70.0, n, 1.0)
    if not n > 1.0:
        assert math.isnan(constant_load_loss_m(70.0, n, 1.0))
