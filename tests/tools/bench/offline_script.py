"""The yardstick: what an engineer would write after the flight with numpy, scipy and pandas.

Zero-phase low-pass of the rates, heading rate about the vertical from the Euler angles, threshold, integrate. It finds
spins only afterwards, has no calls and no uncertainty; it is here to compare the time per frame.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.integrate import cumulative_trapezoid
from scipy.signal import butter, filtfilt

Columns = dict[str, npt.NDArray[np.generic]]


def analyse(columns: Columns) -> pd.DataFrame:
    """One row per stretch of rotation above 20 deg/s while stalled: start, end, turns, height lost."""
    table = pd.DataFrame({name: np.asarray(data) for name, data in columns.items()})
    time_s = (table["time_ns"] - table["time_ns"].iloc[0]) * 1e-9
    rate_hz = 1.0 / float(np.median(np.diff(time_s)))
    b, a = butter(2, min(5.0 / (rate_hz / 2.0), 0.9))
    p, q, r = (
        filtfilt(b, a, table[name].to_numpy(float)) for name in ("roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps")
    )
    phi, theta = np.radians(table["roll_deg"].to_numpy(float)), np.radians(table["pitch_deg"].to_numpy(float))
    about_vertical = -p * np.sin(theta) + q * np.sin(phi) * np.cos(theta) + r * np.cos(phi) * np.cos(theta)
    alpha, beta = np.radians(table["alpha_deg"].to_numpy(float)), np.radians(table["beta_deg"].to_numpy(float))
    about_path = p * np.cos(alpha) * np.cos(beta) + q * np.sin(beta) + r * np.sin(alpha) * np.cos(beta)
    turns = cumulative_trapezoid(about_path, time_s, initial=0.0) / 360.0
    stalled = np.abs(table["alpha_deg"].rolling(int(rate_hz), min_periods=1, center=True).mean()) > 16.0
    spinning = stalled & (np.abs(about_vertical) > 20.0)
    group = (spinning != spinning.shift()).cumsum()[spinning]
    rows = []
    for index in group.groupby(group).groups.values():
        first, last = index[0], index[-1]
        if abs(turns[last] - turns[first]) >= 0.5:
            lost = table["pressure_altitude_ft"].iloc[first] - table["pressure_altitude_ft"].iloc[last]
            rows.append((time_s.iloc[first], time_s.iloc[last], turns[last] - turns[first], lost))
    return pd.DataFrame(rows, columns=["start_s", "end_s", "turns", "loss_ft"])
