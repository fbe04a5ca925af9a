"""Turn rates and the signs of the four kinds of spin against hand-worked rows."""

import math

import pytest
from numpy.testing import assert_allclose
from tests.authorities.steady_spin_rows import ATTITUDE_ROWS, SIGNS, STEADY_SPIN

from spinfloor.core.physics.attitude import down_from_euler
from spinfloor.core.physics.rotation import about_vertical, alpha_from_rates


@pytest.mark.parametrize(("alpha", "period", "p", "r"), STEADY_SPIN)
def test_alpha_from_the_rates_of_a_steady_spin(alpha: float, period: float, p: float, r: float) -> None:
    assert_allclose(math.degrees(alpha_from_rates(math.radians(p), math.radians(r))), alpha, atol=1e-4)  # printed so
    assert_allclose(math.hypot(p, r), 360.0 / period, atol=1e-4)


@pytest.mark.parametrize(("pitch", "bank", "rate", "p", "q", "r"), ATTITUDE_ROWS)
def test_rotation_about_the_vertical_is_not_singular(
    pitch: float, bank: float, rate: float, p: float, q: float, r: float
) -> None:
    down = down_from_euler(math.radians(bank), math.radians(pitch))
    got = about_vertical(math.radians(p), math.radians(q), math.radians(r), *down)
    assert_allclose(math.degrees(got), rate, atol=2e-4)


@pytest.mark.parametrize(("name", "p", "r", "orientation", "sense"), SIGNS)
def test_signs(name: str, p: int, r: int, orientation: int, sense: int) -> None:
    down = down_from_euler(0.0 if orientation > 0 else math.pi, math.radians(-45.0))
    assert math.copysign(1, about_vertical(float(p), 0.0, float(r), *down)) == sense
    assert (alpha_from_rates(float(p), float(r)) > 0) == (orientation > 0)
