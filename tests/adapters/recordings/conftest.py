"""A steady right spin as columns: alpha 45 deg, three seconds a turn, so p = r = 360/3 * cos 45 deg = 84.8528 deg/s.

Source of the rates: the steady-spin relation p = W cos(alpha), r = W sin(alpha) with W = 360 deg / 3 s; the product
of the two is worked by hand here.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

Columns = dict[str, npt.NDArray[np.generic]]


@pytest.fixture
def spin_columns() -> Columns:
    """Ten seconds at 50 frames a second, contract columns; 450 ft lost each turn (150 ft/s)."""
    n = 500
    seconds = np.arange(n) / 50.0
    return {
        "time_ns": 1_900_000_000_000_000_000 + np.rint(seconds * 1e9).astype(np.int64),
        "roll_rate_dps": np.full(n, 84.8528),
        "pitch_rate_dps": np.zeros(n),
        "yaw_rate_dps": np.full(n, 84.8528),
        "pressure_altitude_ft": 10_000.0 - 150.0 * seconds,
        "alpha_deg": np.full(n, 45.0),
    }
