"""Channels sampled at different rates onto common frame times, without inventing data.

A frame takes each channel's newest sample that is not later than the frame and not older than the channel's age
limit; else NaN. Nothing is interpolated: a value between two samples was never measured.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.frames import Float64Array, FrameBlock, Int64Array

NEVER_NS = np.iinfo(np.int64).min


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

    A sample that arrives after the frame it belongs to is not waited for: it serves the next frame. age_limits_ns:
    shape (CHANNEL_COUNT,), one per column in contract order. Bounded: it keeps one sample per column.
    """

    def __init__(self, pacing_column: int, age_limits_ns: Int64Array) -> None:
        self._pacing = pacing_column
        self._limits = age_limits_ns
        self._times: Int64Array = np.full(CHANNEL_COUNT, NEVER_NS, dtype=np.int64)
        self._values: Float64Array = np.full(CHANNEL_COUNT, np.nan)

    def take(self, time_ns: int, samples: dict[int, float]) -> FrameBlock | None:
        """Samples that share a time, by column index, in SI; a frame when the pacing column is among them."""
        for column, value in samples.items():
            if not np.isnan(value):
                self._times[column] = time_ns
                self._values[column] = value
        if self._pacing not in samples:
            return None
        return FrameBlock(np.array([time_ns], dtype=np.int64), self._row(time_ns))

    def _row(self, time_ns: int) -> npt.NDArray[np.float64]:
        known = self._times != NEVER_NS
        age = time_ns - np.where(known, self._times, time_ns)
        fresh = known & (age >= 0) & (age <= self._limits)
        return np.where(fresh, self._values, np.nan).reshape(1, CHANNEL_COUNT)
