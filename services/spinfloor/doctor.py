"""Checks of the machine before a sortie: each returns one finding, a sentence and whether it stops the work."""

from __future__ import annotations

import os
import socket
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from statistics import median

import numpy as np

FRAME_BUDGET_US = 10.0
SYNC_BUDGET_MS = 50.0
CLOCK_STEP_BUDGET_S = 1e-3


@dataclass(frozen=True, slots=True)
class Finding:
    """What one check found. `good` False means: do not fly with this machine as it is."""

    check: str
    good: bool
    sentence: str


def check_kernel() -> Finding:
    """The detector compiles, and one frame costs no more than its budget."""
    from spinfloor.core.channels import REQUIRED_COLUMNS
    from spinfloor.core.detector.detector import Detector
    from spinfloor.core.frames import FrameBlock
    from spinfloor.core.plan.defaults import default_plan

    n = 2_000
    columns: dict[str, np.ndarray[tuple[int], np.dtype[np.generic]]] = {name: np.zeros(n) for name in REQUIRED_COLUMNS}
    columns["pressure_altitude_ft"] = np.full(n, 10_000.0)
    columns["time_ns"] = np.arange(n, dtype=np.int64) * 10_000_000
    block = FrameBlock.from_columns(columns)
    began = time.perf_counter()
    detector = Detector(sortie="doctor", plan=default_plan())
    detector.feed(block.slice(0, 1))
    compiled_s = time.perf_counter() - began
    began = time.perf_counter()
    detector.feed(block.slice(1, n))
    frame_us = (time.perf_counter() - began) / (n - 1) * 1e6
    return Finding(
        "kernel",
        frame_us <= FRAME_BUDGET_US,
        f"ready in {compiled_s:.1f} s, {frame_us:.2f} microseconds a frame (budget {FRAME_BUDGET_US:.0f})",
    )


def check_disk(folder: Path) -> Finding:
    """A small write reaches the disk quickly enough to acknowledge batches."""
    folder.mkdir(parents=True, exist_ok=True)
    times = []
    with tempfile.TemporaryFile(dir=folder) as file:
        for _ in range(20):
            began = time.perf_counter()
            file.write(b"x" * 4096)
            file.flush()
            os.fsync(file.fileno())
            times.append((time.perf_counter() - began) * 1e3)
    typical = median(times)
    return Finding(
        "disk",
        typical <= SYNC_BUDGET_MS,
        f"4 kB on disk in {typical:.1f} ms, worst {max(times):.1f} ms (budget {SYNC_BUDGET_MS:.0f} ms)",
    )


def check_space(folder: Path) -> Finding:
    """Room for a long day of frames."""
    folder.mkdir(parents=True, exist_ok=True)
    state = os.statvfs(folder)
    free_gb = state.f_bavail * state.f_frsize / 1e9
    return Finding("space", free_gb >= 2.0, f"{free_gb:.1f} GB free (at least 2 wanted)")


def check_clock() -> Finding:
    """The wall clock is plausible and keeps step with the steady clock."""
    wall, steady = time.time(), time.monotonic()
    until = steady + 0.05
    while time.monotonic() < until:
        pass
    drift = abs((time.time() - wall) - (time.monotonic() - steady))
    good = drift < CLOCK_STEP_BUDGET_S and wall > 1_577_836_800
    return Finding(
        "clock",
        good,
        f"wall clock {time.strftime('%Y-%m-%d %H:%M:%S', time.gmtime(wall))} UTC, {drift * 1e6:.0f} "
        "microseconds out of step over 50 ms; whether it is right only a time server can say",
    )


def check_sounds() -> Finding:
    """The spoken clips are installed and not empty."""
    folder = resources.files("spinfloor_dashboard") / "assets" / "sounds"
    clips = [entry for entry in folder.iterdir() if entry.name.endswith(".wav")] if folder.is_dir() else []
    empty = [entry.name for entry in clips if len(entry.read_bytes()) < 1000]
    good = len(clips) >= 25 and not empty
    said = f"{len(clips)} clips" + (f", empty: {', '.join(empty)}" if empty else "")
    return Finding("sounds", good, said + "; whether they can be heard only the test button tells")


def check_port(port: int) -> Finding:
    """The port is free on loopback."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError as error:
            said = f"127.0.0.1:{port} cannot be opened: {error.strerror}"
            return Finding(
                "port", False, f"{said}; end what holds it (a spinfloor that runs already?) or take another by --port"
            )
    return Finding("port", True, f"127.0.0.1:{port} is free")


def examine(data: Path, port: int) -> Iterator[Finding]:
    """Every check in turn; one that fails unexpectedly is itself a finding."""
    checks: tuple[tuple[str, Callable[[], Finding]], ...] = (
        ("kernel", check_kernel),
        ("disk", lambda: check_disk(data)),
        ("space", lambda: check_space(data)),
        ("clock", check_clock),
        ("sounds", check_sounds),
        ("port", lambda: check_port(port)),
    )
    for name, check in checks:
        try:
            yield check()
        except Exception as error:  # a doctor reports what it cannot examine
            yield Finding(name, False, f"could not be examined: {error}")
