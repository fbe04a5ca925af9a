"""Stop-watches: the best of several runs, percentiles, and the two limits of the machine itself (disk, interpreter)."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np


def best_s(work: Callable[[], Any], *, runs: int = 3) -> float:
    """Seconds of the quickest of several runs: what the machine can do when nothing disturbs it."""
    taken = []
    for _ in range(runs):
        begun = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begun)
    return min(taken)


def percentiles(values: Any) -> tuple[float, float]:
    """p50 and p99."""
    p50, p99 = np.percentile(values, [50, 99])
    return float(p50), float(p99)


def syncs_ms(folder: Path, size: int, *, count: int = 200, within_s: float = 5.0) -> tuple[float, float]:
    """p50 and p99 of appending `size` bytes to a file and waiting until the disk has them (fdatasync), ms.

    Fewer than `count` when the disk is so busy that they would take longer than `within_s`.
    """
    body = os.urandom(size)
    taken = []
    with (folder / "sync.bin").open("wb", buffering=0) as file:
        for _ in range(count):
            begun = time.perf_counter()
            file.write(body)
            os.fdatasync(file.fileno())
            taken.append((time.perf_counter() - begun) * 1e3)
            if sum(taken) > within_s * 1e3:
                break
    return percentiles(taken)


def interpreter_s() -> float:
    """Seconds until a bare interpreter has imported numpy and numba: no start of this product can be quicker."""
    return best_s(lambda: subprocess.run([sys.executable, "-c", "import numpy, numba"], check=True), runs=2)
