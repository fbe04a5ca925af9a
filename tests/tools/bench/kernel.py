"""Part 1: frames a second in the kernel, one live frame, against a plain loop, an offline script and a Kalman library."""

from __future__ import annotations

import json
import subprocess
import sys
import time
import tracemalloc
from typing import Any, Final

import numpy as np
from tests.places import ROOT
from tests.tools.bench import data
from tests.tools.bench.plain_loop_stretch import kinds, stretch
from tests.tools.bench.table import Row
from tests.tools.bench.timing import best_s, percentiles

from spinfloor.core.detector.detector import Detector
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.wire import encode_block

PLAIN_FRAMES: Final = 3_000
LIVE_FRAMES: Final = 20_000
KALMAN_STEPS: Final = 5_000


def fed(block: FrameBlock) -> list[Any]:
    """A fresh detector's events."""
    return Detector(sortie="b", plan=data.plan()).feed(block)


def run(scale: float) -> list[Row]:
    """All rows of this part."""
    block = data.sets(max(1, round(8 * scale)))
    fed(block.slice(0, 2))  # compiled before anything is timed
    frames = len(block)
    full_s = best_s(lambda: fed(block)) / frames
    plain_s = plain_loop_s()
    offline_s = offline_script_s(block)
    kalman_s = kalman_update_s()
    five = data.five_columns(block)
    level = data.level(frames)
    rows = [
        _kernel("kernel_full", "every column", full_s, plain_s, "a plain Python loop of the same step"),
        _kernel("kernel_five", "five columns", best_s(lambda: fed(five)) / frames, full_s, "every column"),
        _kernel("kernel_level", "level flight", best_s(lambda: fed(level)) / frames, full_s, "every column"),
        Row("plain_loop", "plain Python loop, one frame", plain_s * 1e6, "us"),
        Row(
            "offline", "offline script (numpy, scipy, pandas), one frame", offline_s * 1e6, "us",
            offline_s / full_s, "the kernel's frame",
        ),
    ]  # fmt: skip
    if kalman_s is not None:
        what = "one predict and update of a Kalman library (8 states, 4 measured)"
        rows.append(Row("kalman", what, kalman_s * 1e6, "us", kalman_s / full_s, "the kernel's frame"))
    return rows + live_rows(block, plain_s) + [allocation_row(block)]


def _kernel(key: str, columns: str, each_s: float, yardstick_s: float, against: str) -> Row:
    target = "3,000,000" if key == "kernel_full" else ""
    what = f"kernel, one core, {columns}"
    return Row(key, what, 1.0 / each_s, "frames/s", yardstick_s / each_s, against, target)


def plain_loop_s(frames: int = PLAIN_FRAMES) -> float:
    """Seconds per frame of the uncompiled step, whose events must be the compiled kernel's."""
    block = stretch(frames)
    done = subprocess.run(
        [sys.executable, "-m", "tests.tools.bench.plain_loop"],
        input=encode_block(block), cwd=ROOT, capture_output=True, check=False,
    )  # fmt: skip
    if done.returncode != 0:
        raise RuntimeError("the plain loop failed:\n" + done.stderr.decode()[-2000:])
    told = json.loads(done.stdout)
    if told["kinds"] != kinds(fed(block)):
        raise RuntimeError("the plain loop made other events than the kernel; the two don't compare")
    return float(told["seconds"]) / frames


def offline_script_s(block: FrameBlock) -> float:
    """Seconds per frame of the script an engineer would write."""
    from tests.tools.bench.offline_script import analyse

    columns = data.edge_columns(block)
    return best_s(lambda: analyse(columns), runs=2) / len(block)


def kalman_update_s() -> float | None:
    """Seconds of a general library's predict and update: rates and altitude with their slopes. None: not installed."""
    try:
        from filterpy.kalman import KalmanFilter
    except ImportError:
        return None
    dt = 1.0 / data.RATE_HZ
    kalman = KalmanFilter(dim_x=8, dim_z=4)
    kalman.F = np.kron(np.eye(4), np.array([[1.0, dt], [0.0, 1.0]]))
    kalman.H = np.kron(np.eye(4), np.array([[1.0, 0.0]]))
    kalman.Q *= 1e-3
    measured = data.one_set(0).values[:KALMAN_STEPS, :4].copy()

    def steps() -> None:
        for z in measured:
            kalman.predict()
            kalman.update(z)

    return best_s(steps, runs=2) / KALMAN_STEPS


def live_rows(block: FrameBlock, plain_s: float) -> list[Row]:
    """One frame per call, as it comes from a telemetry link; calls that made events are among them."""
    detector = Detector(sortie="b", plan=data.plan())
    frames = [block.slice(i, i + 1) for i in range(min(LIVE_FRAMES, len(block)))]
    taken = np.empty(len(frames))
    clock = time.perf_counter_ns
    for i, frame in enumerate(frames):
        begun = clock()
        detector.feed(frame)
        taken[i] = clock() - begun
    p50, p99 = percentiles(taken * 1e-3)
    against = "a plain Python step"
    return [
        Row("live_p50", "single live frame, p50", p50, "us", plain_s * 1e6 / p50, against, "10"),
        Row("live_p99", "single live frame, p99", p99, "us", plain_s * 1e6 / p99, against, "10"),
    ]


def allocation_row(block: FrameBlock) -> Row:
    """Bytes a frame more left behind or peaked at while the kernel ran: 0 when no frame allocates.

    Events are Python objects and do allocate; level flight has none, so a hundred times the frames must cost the same.
    """
    few, many = data.level(1_000), data.level(101_000)
    peaks = []
    for part in (few, many):
        detector = Detector(sortie="b", plan=data.plan())
        detector.feed(few.slice(0, 1))
        tracemalloc.start()
        detector.feed(part.slice(1, len(part)))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    allocated = compiled_allocations(many) - compiled_allocations(few)
    each = (max(0, peaks[1] - peaks[0]) + allocated) / (len(many) - len(few))
    what = "allocation per frame (Python's bytes and the compiled code's blocks)"
    return Row("allocation", what, round(each, 3), "", None, "", "0")


def compiled_allocations(block: FrameBlock) -> int:
    """Blocks the compiled code asked numba's runtime for."""
    from numba.core.runtime import _nrt_python, rtsys

    _nrt_python.memsys_enable_stats()
    before = rtsys.get_allocation_stats().alloc
    fed(block)
    return int(rtsys.get_allocation_stats().alloc - before)
