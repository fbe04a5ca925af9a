"""The closed-form loss against a large Monte Carlo of the same quantities, and the published-row budget."""

from itertools import product

import numpy as np
import pytest
from scipy import stats
from tests.authorities.altitude_practice import BUDGET

from spinfloor.core.recovery.altitude_left import add_independent, add_product, combine, loss_quantile_m
from spinfloor.core.recovery.excess import NODES, ROWS, TAIL_SCALES, fill_excess, look_up_all

DRAWS = 400_000


def _draw(rng: np.random.Generator, location: float, scale: float, dof: float, used: float) -> np.ndarray:
    """Student-t given that it exceeds `used`, by inverting scipy's distribution function."""
    low = stats.t.cdf(used, dof, location, scale)
    high = stats.t.cdf(location + TAIL_SCALES * scale, dof, location, scale)
    drawn: np.ndarray = stats.t.ppf(rng.uniform(low, high, DRAWS), dof, location, scale)
    return drawn - used


@pytest.mark.parametrize("probability", [0.90, 0.95, 0.99])
@pytest.mark.parametrize(
    ("turns", "loss_per_turn", "pull_out", "used", "reaction_sd"),
    [
        ((1.0, 0.35, 4.0), (150.0, 30.0), (470.0, 83.0, 4.0), 0.0, 5.0),  # the priors, controls not in
        ((1.0, 0.35, 4.0), (150.0, 12.0), (470.0, 83.0, 4.0), 0.8, 0.0),  # most of the recovery used
        ((1.0, 0.35, 4.0), (150.0, 12.0), (470.0, 83.0, 4.0), 2.4, 0.0),  # far longer than expected
        ((2.4, 0.2, 9.0), (240.0, 20.0), (1100.0, 60.0, 9.0), 0.0, 10.0),  # learnt, flat
        ((0.5, 0.4, 5.0), (90.0, 20.0), (300.0, 40.0, 5.0), 0.2, 3.0),  # short and uncertain
    ],
)
def test_against_monte_carlo(
    turns: tuple[float, float, float],
    loss_per_turn: tuple[float, float],
    pull_out: tuple[float, float, float],
    used: float,
    reaction_sd: float,
    probability: float,
) -> None:
    moments = np.zeros(4)
    table = np.zeros((ROWS, NODES))
    step = fill_excess(table, *turns)
    add_product(moments, *look_up_all(table, step, used), loss_per_turn[0], loss_per_turn[1] ** 2)
    step = fill_excess(table, *pull_out)
    add_independent(moments, *look_up_all(table, step, 0.0))
    add_independent(moments, 50.0, reaction_sd**2, 0.0, 0.0)

    rng = np.random.default_rng(20260)
    n = _draw(rng, *turns, used)
    ell = rng.normal(*loss_per_turn, DRAWS)
    d = _draw(rng, *pull_out, 0.0)
    loss = n * ell + d + rng.normal(50.0, reaction_sd, DRAWS)

    spread = loss.std()
    assert moments[0] == pytest.approx(loss.mean(), rel=5e-3)
    assert np.sqrt(moments[1]) == pytest.approx(spread, rel=0.03)
    assert loss_quantile_m(moments, 0.0) == pytest.approx(np.median(loss), abs=0.08 * spread)
    z = float(stats.norm.ppf(probability))
    # The share of draws beyond the bound is what the crew lives with: within a quarter of what was promised.
    beyond = float((loss > loss_quantile_m(moments, z)).mean())
    assert beyond == pytest.approx(1.0 - probability, abs=max(0.25 * (1.0 - probability), 0.004))
    below = float((loss < loss_quantile_m(moments, -z)).mean())
    assert below == pytest.approx(1.0 - probability, abs=max(0.5 * (1.0 - probability), 0.006))


def test_product_cumulants_exactly() -> None:
    """N two-valued, L three-valued with a normal's first five moments: every cumulant by enumeration."""
    ns, pn = np.array([0.5, 2.0]), np.array([0.7, 0.3])
    n_mean = float(ns @ pn)
    central = [float(((ns - n_mean) ** k) @ pn) for k in range(5)]
    mean, sd = 150.0, 30.0
    ells = mean + sd * np.sqrt(3.0) * np.array([-1.0, 0.0, 1.0])
    pl = np.array([1 / 6, 2 / 3, 1 / 6])
    xs = np.array([n * ell for n, ell in product(ns, ells)])
    ps = np.array([a * b for a, b in product(pn, pl)])
    m = float(xs @ ps)
    c = [float(((xs - m) ** k) @ ps) for k in range(5)]
    moments = np.zeros(4)
    add_product(moments, n_mean, central[2], central[3], central[4] - 3.0 * central[2] ** 2, mean, sd**2)
    np.testing.assert_allclose(moments, [m, c[2], c[3], c[4] - 3.0 * c[2] ** 2], rtol=1e-9)


def test_worked_budget() -> None:
    """10,000 ft, floor 5,000: 1,800 ft = 12 s = 4 turns (tests/authorities/altitude_practice.py), no spread."""
    b = BUDGET
    per_turn = b["sink_fps"] * b["seconds_per_turn"]
    moments = np.zeros(4)
    add_product(moments, b["recovery_turns"], 0.0, 0.0, 0.0, per_turn, 0.0)
    add_independent(moments, b["pull_out_ft"] + b["reaction_s"] * b["sink_fps"], 0.0, 0.0, 0.0)
    for z in (-1.6, 0.0, 1.6):
        left = b["altitude_ft"] - b["floor_ft"] - loss_quantile_m(moments, z)
        assert left == pytest.approx(b["left_ft"])
        assert left / b["sink_fps"] == pytest.approx(b["left_s"])
        assert left / per_turn == pytest.approx(b["left_turns"])


def test_combining_opinions() -> None:
    assert combine(100.0, 4.0, 110.0, 4.0) == pytest.approx((105.0, 2.0))
    assert combine(100.0, 4.0, np.nan, 4.0) == (100.0, 4.0)
    assert combine(100.0, 4.0, 110.0, np.inf) == (100.0, 4.0)
