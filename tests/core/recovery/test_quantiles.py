"""Closed-form quantiles against scipy.stats."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from spinfloor.core.recovery.quantiles import cumulant_quantile, normal_quantile, student_quantile


@given(st.floats(1e-12, 1 - 1e-12))
def test_normal(p: float) -> None:
    assert normal_quantile(p) == pytest.approx(stats.norm.ppf(p), rel=1e-12, abs=1e-13)


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, math.nan])
def test_normal_outside(p: float) -> None:
    assert math.isnan(normal_quantile(p))


@given(st.floats(0.005, 0.995), st.floats(4.0, 200.0))
def test_student(p: float, dof: float) -> None:
    assert student_quantile(p, dof) == pytest.approx(stats.t.ppf(p, dof), rel=5e-3, abs=1e-9)


@pytest.mark.parametrize("p", [0.05, 0.5, 0.9, 0.95, 0.99])
@pytest.mark.parametrize("shape", [1.0, 2.0, 5.0, 30.0])
def test_cumulants_of_a_gamma(p: float, shape: float) -> None:
    """Gamma: cumulants k, k, 2k, 6k; skewness 2/sqrt(k), up to the exponential's 2. Within 7 % of a deviation."""
    z = float(stats.norm.ppf(p))
    got = cumulant_quantile(z, shape, shape, 2.0 * shape, 6.0 * shape)
    assert got == pytest.approx(stats.gamma.ppf(p, shape), abs=0.07 * math.sqrt(shape) if shape > 1 else 0.2)


def test_no_spread() -> None:
    assert cumulant_quantile(1.6, 5.0, 0.0, 0.0, 0.0) == 5.0
