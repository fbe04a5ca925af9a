"""Channels sampled at different rates onto common frame times, without inventing data.

A frame takes each channel's newest sample that is not later than the frame and not older than the channel's age
limit; else NaN. Nothing is interpolated: a value between two samples was never measured.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping

import numpy as np

from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.frames import Float64Array, FrameBlock, Int64Array


def hold_last(times_ns: Int64Array, values: Float64Array, at_ns: Int64Array, age_limit_ns: int) -> Float64Array:
    """Values of one channel at the frame times.

    times_ns: int64, shape (m,), non-decreasing sample times. values: shape (m,); NaN means no sample.
    at_ns: int64, shape (n,), in any order. age_limit_ns: oldest sample a frame may take. Returns shape (n,).
    Of samples with equal times the last one counts.
    """
    measured = ~np.isnan(values)
    times_ns, values = times_ns[measured], values[measured]
    if len(times_ns) == 0:
        return np.full(len(at_ns), np.nan)
    index = np.searchsorted(times_ns, at_ns, side="right") - 1
    found = np.maximum(index, 0)
    fresh = (index >= 0) & (at_ns - times_ns[found] <= age_limit_ns)
    return np.where(fresh, values[found], np.nan)


def hold_in_order(times_ns: Int64Array, values: Float64Array, age_limit_ns: int) -> Float64Array:
    """The same for a channel sampled in the frames' own rows, whose times may run backwards.

    times_ns, values: shape (n,). A row without a sample takes the nearest earlier row that has one, if that row's
    time is not later than its own and not older than the limit.
    """
    measured = ~np.isnan(values)
    if bool(measured.all()):
        return values
    rows = np.where(measured, np.arange(len(values)), -1)
    newest = np.maximum.accumulate(rows)
    found = np.maximum(newest, 0)
    age = times_ns - times_ns[found]
    fresh = (newest >= 0) & (age >= 0) & (age <= age_limit_ns)
    return np.where(fresh, values[found], np.nan)


def even_grid(first_ns: int, last_ns: int, rate_hz: float) -> Int64Array:
    """Frame times at a steady rate from the first to the last sample, both included where they fall on it."""
    count = int((last_ns - first_ns) * rate_hz / 1e9) + 1
    grid: Int64Array = first_ns + np.rint(np.arange(count) * (1e9 / rate_hz)).astype(np.int64)
    return grid


def typical_period_ns(times_ns: Int64Array) -> int:
    """Median step between samples, steps that do not advance left out; 0 when there are none."""
    steps = np.diff(times_ns)
    steps = steps[steps > 0]
    return int(np.median(steps)) if len(steps) else 0


class StreamAligner:
    """The same rule one sample at a time, for a live link: each sample of the pacing column makes a frame.

    A sample that arrives after the frame it belongs to is not waited for. age_limits_ns: shape (CHANNEL_COUNT,), one
    per column in contract order. Bounded: it keeps the newest HISTORY samples of each column, so that columns whose
    delays differ still meet at the same time.
    """

    HISTORY = 256

    def __init__(self, pacing_column: int, age_limits_ns: Int64Array) -> None:
        self._pacing = pacing_column
        self._limits = [int(limit) for limit in age_limits_ns]
        self._kept: list[deque[tuple[int, float]]] = [deque(maxlen=self.HISTORY) for _ in range(CHANNEL_COUNT)]

    def take(self, samples: Mapping[int, tuple[int, float]]) -> FrameBlock | None:
        """Samples that came together: column index to (time in ns with its delay taken out, value in SI).

        A frame, at the pacing column's time, when that column is among them; NaN counts as no sample.
        """
        for column, (time_ns, value) in samples.items():
            if not math.isnan(value):
                self._kept[column].append((time_ns, value))
        if self._pacing not in samples:
            return None
        at_ns = samples[self._pacing][0]
        row = [self._newest(column, at_ns) for column in range(CHANNEL_COUNT)]
        return FrameBlock(np.array([at_ns], dtype=np.int64), np.array([row], dtype=np.float64))

    def _newest(self, column: int, at_ns: int) -> float:
        for time_ns, value in reversed(self._kept[column]):
            if time_ns <= at_ns:
                return value if at_ns - time_ns <= self._limits[column] else math.nan
        return math.nan
