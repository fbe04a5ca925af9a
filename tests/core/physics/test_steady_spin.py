"""Steady-spin relations and turn rates against published and hand-worked rows."""

import math

import pytest
from numpy.testing import assert_allclose
from tests.authorities.steady_spin_rows import ATTITUDE_ROWS, LOSS_PER_TURN, SIGNS, STEADY_SPIN

from spinfloor.core.physics.attitude import down_from_euler
from spinfloor.core.physics.rotation import about_vertical, alpha_from_rates
from spinfloor.core.physics.steady_spin import loss_per_turn_m, steady_spin


@pytest.mark.parametrize(("alpha", "period", "p", "r", "radius_ft", "load"), STEADY_SPIN)
def test_rows(alpha: float, period: float, p: float, r: float, radius_ft: float, load: float) -> None:
    spin = steady_spin(math.radians(alpha), 2 * math.pi / period)
    assert_allclose(math.degrees(spin.roll_rate_radps), p, atol=6e-5)  # printed to 1e-4
    assert_allclose(math.degrees(spin.yaw_rate_radps), r, atol=6e-5)
    assert_allclose(spin.radius_m / 0.3048, radius_ft, atol=6e-5)
    assert_allclose(spin.load_factor_g, load, atol=6e-6)
    assert_allclose(math.degrees(alpha_from_rates(spin.roll_rate_radps, spin.yaw_rate_radps)), alpha, atol=1e-9)


@pytest.mark.parametrize("alpha", [0.0, -0.3, math.pi / 2])
def test_no_steady_spin_outside_its_range(alpha: float) -> None:
    with pytest.raises(ValueError, match="steady spin"):
        steady_spin(alpha, 2.0)


@pytest.mark.parametrize(("pitch", "bank", "rate", "p", "q", "r"), ATTITUDE_ROWS)
def test_rotation_about_the_vertical_is_not_singular(
    pitch: float, bank: float, rate: float, p: float, q: float, r: float
) -> None:
    down = down_from_euler(math.radians(bank), math.radians(pitch))
    got = about_vertical(math.radians(p), math.radians(q), math.radians(r), *down)
    assert_allclose(math.degrees(got), rate, atol=2e-4)


@pytest.mark.parametrize(("name", "p", "r", "orientation", "sense"), SIGNS)
def test_signs(name: str, p: int, r: int, orientation: int, sense: int) -> None:
    assert orientation == (1 if p * r > 0 else -1)
    down = down_from_euler(0.0 if orientation > 0 else math.pi, math.radians(-45.0))
    assert math.copysign(1, about_vertical(float(p), 0.0, float(r), *down)) == sense
    assert (alpha_from_rates(float(p), float(r)) > 0) == (orientation > 0)


@pytest.mark.parametrize(("sink_fps", "rate_dps", "loss_ft"), LOSS_PER_TURN)
def test_loss_per_turn(sink_fps: float, rate_dps: float, loss_ft: float) -> None:
    assert_allclose(loss_per_turn_m(sink_fps * 0.3048, math.radians(rate_dps)) / 0.3048, loss_ft, rtol=1e-12)


@pytest.mark.parametrize("k", [0.5, 2.0, 7.0])
def test_scaling(k: float) -> None:
    """k times the rotation: rates k times, radius 1/k^2, load factor unchanged."""
    one, more = steady_spin(0.7, 2.0), steady_spin(0.7, 2.0 * k)
    assert_allclose(more.yaw_rate_radps, k * one.yaw_rate_radps)
    assert_allclose(more.radius_m, one.radius_m / k**2)
    assert_allclose(more.load_factor_g, one.load_factor_g)
