"""Part 5: a programme of 1,000 spins, six million frames, from Parquet files to events and the spin table.

A child process per core does what `spinfloor analyse` does and makes the spin table: read, detect, reduce. The kernel
is warm and the files are in the page cache. The yardstick is pyarrow reading the same files on the same core.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any, Final

from tests.places import ROOT
from tests.tools.bench import data
from tests.tools.bench.table import Row

SETS: Final = 77
DISTINCT: Final = 11  # files written; each is read SETS / DISTINCT times
CHILD_S: Final = 300.0


def run(folder: Path, scale: float) -> list[Row]:
    """All rows of this part."""
    count = max(2, round(SETS * scale))
    files = write(folder, min(DISTINCT, count))
    jobs = [str(files[i % len(files)]) for i in range(count)]
    cores = sorted(os.sched_getaffinity(0))
    one = together([jobs], cores)
    rows = [_row("programme_1", "one core", one, one["read_s"], "pyarrow reading the files")]
    if len(cores) > 1:
        two = together([jobs[::2], jobs[1::2]], cores)
        rows.append(_row("programme_2", "two cores", two, one["seconds"], "one core"))
    kernel_s = one["kernel_s"]
    what = "of it in the detector (kernel and events), one core"
    rows.append(Row("programme_detector", what, kernel_s, "s", kernel_s / one["seconds"], "the whole"))
    return rows


def write(folder: Path, count: int) -> list[Path]:
    """The sorties' files."""
    files = [folder / f"sortie-{n:03}.parquet" for n in range(count)]
    for n, path in enumerate(files):
        data.write_parquet(data.one_set(n), path)
    return files


def _row(key: str, cores: str, told: dict[str, Any], yardstick_s: float, against: str) -> Row:
    what = (
        f"{told['spins']:,} spins, {told['frames'] / 1e6:.3g} million frames, Parquet to events and spin table, {cores}"
    )
    target = "10" if key == "programme_1" else ""
    return Row(key, what, told["seconds"], "s", told["seconds"] / yardstick_s, against, target)


def together(shares: list[list[str]], cores: list[int]) -> dict[str, Any]:
    """A child on a core of its own for each share; sums, and the longest of the times."""
    children = [_child(core) for core, _ in zip(cores, shares, strict=False)]
    for child in children:
        assert child.stdout is not None
        if child.stdout.readline() != b"ready\n":
            raise RuntimeError("a child of the programme did not start")
    told = []
    for child, share in zip(children, shares, strict=True):
        assert child.stdin is not None
        child.stdin.write(json.dumps(share).encode() + b"\n")
        child.stdin.close()
    for child in children:
        assert child.stdout is not None
        with child.stdout:
            told.append(json.loads(child.stdout.read()))
        child.wait(CHILD_S)
    sums = {name: sum(one[name] for one in told) for name in ("spins", "frames")}
    return sums | {name: max(one[name] for one in told) for name in ("seconds", "kernel_s", "read_s")}


def _child(core: int) -> subprocess.Popen[bytes]:
    words = [sys.executable, "-m", "tests.tools.bench.programme", str(core)]
    return subprocess.Popen(words, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE)


def child(core: int) -> None:
    """Warm up, say so, take the names of files, tell how long they took."""
    os.sched_setaffinity(0, {core})
    import pyarrow as pa
    import pyarrow.parquet as pq

    from spinfloor.detect.warm import warm_kernel

    pa.set_cpu_count(1)
    warm_kernel()
    print("ready", flush=True)
    files = [Path(name) for name in json.loads(sys.stdin.readline())]
    reduce_file(files[0])  # the imports of the readers are not what is measured
    begun = time.perf_counter()
    found = [reduce_file(path) for path in files]
    seconds = time.perf_counter() - begun
    begun = time.perf_counter()
    for path in files:
        pq.ParquetFile(path).read(use_threads=False)
    read_s = time.perf_counter() - begun
    frames, spins, kernel_s = (sum(x) for x in zip(*found, strict=True))
    told = {"frames": frames, "spins": spins, "kernel_s": kernel_s, "seconds": seconds, "read_s": read_s}
    print(json.dumps(told))


def reduce_file(path: Path) -> tuple[int, int, float]:
    """(frames, spins in the table, seconds in the detector) of a sortie's file."""
    from spinfloor.adapters.recordings import read_recording
    from spinfloor.archive.spin_table import spin_table
    from spinfloor.core.detector.detector import Detector
    from spinfloor.core.plan.load import plan_to_data

    plan = data.plan()
    block = read_recording(path).block
    begun = time.perf_counter()
    events = Detector(sortie=path.stem, plan=plan).feed(block)
    kernel_s = time.perf_counter() - begun
    return len(block), len(spin_table(events, plan_to_data(plan))), kernel_s


if __name__ == "__main__":
    child(int(sys.argv[1]))
