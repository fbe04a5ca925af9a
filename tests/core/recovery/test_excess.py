"""What remains of a Student-t quantity once part of it is used, against scipy's quadrature."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from spinfloor.core.recovery.excess import (
    LAST_NODE_SCALES,
    NODES,
    ROW_MEAN,
    ROW_VARIANCE,
    ROWS,
    TAIL_SCALES,
    fill_excess,
    look_up_all,
)


def _by_quadrature(location: float, scale: float, dof: float, used: float) -> tuple[float, float]:
    end = location + TAIL_SCALES * scale
    middle = [x for x in (location, location + scale, location + 3 * scale) if used < x < end]

    def moment(k: int) -> float:
        value, _ = quad(
            lambda x: (x - used) ** k * stats.t.pdf(x, dof, location, scale), used, end, points=middle, limit=200
        )
        return float(value)

    total, first, second = moment(0), moment(1), moment(2)
    mean = first / total
    return mean, second / total - mean * mean


@pytest.mark.parametrize(("location", "scale", "dof"), [(1.0, 0.35, 4.0), (470.0, 83.0, 7.0), (0.4, 0.6, 5.0)])
@pytest.mark.parametrize("node", [0, 7, 16, 32])
def test_against_quadrature(location: float, scale: float, dof: float, node: int) -> None:
    table = np.zeros((ROWS, NODES))
    step = fill_excess(table, location, scale, dof)
    mean, variance = _by_quadrature(location, scale, dof, node * step)
    assert table[ROW_MEAN, node] == pytest.approx(mean, rel=2e-3)
    assert table[ROW_VARIANCE, node] == pytest.approx(variance, rel=1e-2)


@given(st.floats(0.3, 3.0), st.floats(0.05, 0.8), st.floats(4.0, 20.0))
@settings(max_examples=60)
def test_shape(location: float, scale: float, dof: float) -> None:
    """Using up never leaves nothing; well past the expected value more is still to come, not less (heavy tail)."""
    table = np.zeros((ROWS, NODES))
    step = fill_excess(table, location, scale, dof)
    mean = table[ROW_MEAN]
    assert (mean > 0.0).all()
    assert (table[ROW_VARIANCE] > 0.0).all()
    assert (np.diff(mean) >= -step * (1 + 1e-9)).all()  # never falls faster than it is used up
    assert look_up_all(table, step, 100.0 * LAST_NODE_SCALES)[ROW_MEAN] == mean[-1]
    assert look_up_all(table, step, 0.5 * step)[ROW_MEAN] == pytest.approx(0.5 * (mean[0] + mean[1]))
