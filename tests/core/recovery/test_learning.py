"""Conjugate learning against a direct numerical posterior, and the behaviour an engineer expects of it."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from spinfloor.core.recovery.learning import (
    BELIEFS_DTYPE,
    MODE_NOT_KNOWN,
    PRIOR_DEGREES_OF_FREEDOM,
    RECOVERY_TURNS,
    learn,
    predict,
    set_prior,
)


def _fresh(mean: float = 1.0, sd: float = 0.5, worth: float = 0.5) -> np.ndarray:
    beliefs = np.zeros(1, BELIEFS_DTYPE)
    for quantity in range(3):
        set_prior(beliefs[0], quantity, mean, sd, worth)
    return beliefs


def _predict(beliefs: np.ndarray, orientation: int = 0, direction: int = 0, mode: int = 0) -> np.ndarray:
    out = np.zeros(4)
    predict(beliefs[0], RECOVERY_TURNS, orientation, direction, mode, out)
    return out


@given(st.floats(0.1, 5000.0), st.floats(0.01, 2000.0), st.floats(0.1, 50.0))
def test_prior_prediction_is_what_the_plan_says(mean: float, sd: float, worth: float) -> None:
    location, scale, dof, spins = _predict(_fresh(mean, sd, worth))
    assert location == pytest.approx(mean)
    assert scale * math.sqrt(dof / (dof - 2.0)) == pytest.approx(sd)
    assert dof == PRIOR_DEGREES_OF_FREEDOM
    assert spins == 0


def test_against_a_numerical_posterior() -> None:
    """The predictive density on a grid of (mean, variance), prior x likelihood, no conjugacy used."""
    data = [0.7, 0.9, 0.65]
    mean0, sd0, worth = 1.0, 0.5, 0.5
    beliefs = _fresh(mean0, sd0, worth)
    for value in data:
        learn(beliefs[0], RECOVERY_TURNS, 0, 0, 0, value)
    shape0 = PRIOR_DEGREES_OF_FREEDOM / 2.0
    spread0 = sd0**2 * (2 * shape0 - 2) / (2 * shape0) * shape0 * worth / (worth + 1.0)
    mu = np.linspace(-1.5, 3.5, 1001)[:, None]
    var = np.geomspace(1e-4, 10.0, 1500)[None, :]
    weight = stats.invgamma.pdf(var, shape0, scale=spread0) * stats.norm.pdf(mu, mean0, np.sqrt(var / worth)) * var
    for value in data:
        weight = weight * stats.norm.pdf(value, mu, np.sqrt(var))
    weight /= weight.sum()
    x = np.array([0.2, 0.6, 0.8, 1.1, 1.8])
    direct = np.array([(weight * stats.norm.cdf(xi, mu, np.sqrt(var))).sum() for xi in x])
    location, scale, dof, spins = _predict(beliefs)
    np.testing.assert_allclose(stats.t.cdf(x, dof, location, scale), direct, atol=2e-4)
    assert spins == 3


@given(st.lists(st.floats(0.3, 3.0), min_size=1, max_size=12))
@settings(max_examples=60)
def test_order_does_not_matter(values: list[float]) -> None:
    one, other = _fresh(), _fresh()
    for value in values:
        learn(one[0], RECOVERY_TURNS, 0, 0, 0, value)
    for value in reversed(values):
        learn(other[0], RECOVERY_TURNS, 0, 0, 0, value)
    np.testing.assert_allclose(_predict(one), _predict(other), rtol=1e-9)


def test_the_bound_tightens_and_settles_on_the_data() -> None:
    rng = np.random.default_rng(7)
    beliefs = _fresh()
    scales = [_predict(beliefs)[1]]
    for value in rng.normal(1.6, 0.08, 40):
        learn(beliefs[0], RECOVERY_TURNS, 0, 1, 2, value)
        scales.append(_predict(beliefs, 0, 1, 2)[1])
    assert scales[10] < scales[3]
    assert scales[40] < 0.5 * scales[0]
    assert _predict(beliefs, 0, 1, 2)[0] == pytest.approx(1.6, abs=0.05)


def test_neighbours_lend_less_and_less() -> None:
    beliefs = _fresh()
    for _ in range(20):
        learn(beliefs[0], RECOVERY_TURNS, 0, 0, 0, 2.0)  # upright right steep
    other_direction = _predict(beliefs, 0, 1, 0)
    other_mode = _predict(beliefs, 0, 0, 3)
    assert 1.0 < other_mode[0] <= other_direction[0] < _predict(beliefs, 0, 0, 0)[0]
    assert other_direction[2] <= PRIOR_DEGREES_OF_FREEDOM + 1.0  # worth one spin at most
    assert _predict(beliefs, 1, 0, 0)[0] == 1.0  # inverted learns nothing from upright
    before = abs(_predict(beliefs, 0, 1, 0)[0] - 1.0)
    for _ in range(4):
        learn(beliefs[0], RECOVERY_TURNS, 0, 1, 0, 1.0)
    assert abs(_predict(beliefs, 0, 1, 0)[0] - 1.0) < 0.25 * before


def test_mode_not_known_counts_every_mode() -> None:
    beliefs = _fresh()
    learn(beliefs[0], RECOVERY_TURNS, 0, 0, 0, 1.2)
    learn(beliefs[0], RECOVERY_TURNS, 0, 0, 2, 1.4)
    assert _predict(beliefs, 0, 0, MODE_NOT_KNOWN)[3] == 2


def test_nan_teaches_nothing() -> None:
    beliefs = _fresh()
    before = beliefs.copy()
    learn(beliefs[0], RECOVERY_TURNS, 0, 0, 0, math.nan)
    assert beliefs.tobytes() == before.tobytes()


def test_bound_holds_as_often_as_it_says() -> None:
    """Calibration over many programmes drawn from the prior: the 95 % bound holds about 95 % of the time."""
    rng = np.random.default_rng(11)
    held = 0
    runs = 1500
    shape0 = PRIOR_DEGREES_OF_FREEDOM / 2.0
    for _ in range(runs):
        beliefs = _fresh(5.0, 1.0, 0.5)
        spread0 = beliefs["prior"][0, 0, 3]
        var = 1.0 / rng.gamma(shape0, 1.0 / spread0)
        mu = rng.normal(5.0, math.sqrt(var / 0.5))
        values = rng.normal(mu, math.sqrt(var), 4)
        for value in values[:3]:
            learn(beliefs[0], RECOVERY_TURNS, 0, 0, 0, value)
        location, scale, dof, _ = _predict(beliefs)
        held += values[3] <= location + scale * stats.t.ppf(0.95, dof)
    assert held / runs == pytest.approx(0.95, abs=3.0 * math.sqrt(0.95 * 0.05 / runs))
