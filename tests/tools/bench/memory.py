"""Part 7: memory and disk per sortie-hour, through the real store and the real detectors as `spinfloor serve` has them."""

from __future__ import annotations

import asyncio
import gc
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Final

from tests.places import ROOT
from tests.tools.bench import data
from tests.tools.bench.table import Row

HOURS: Final = 1.0
SORTIES: Final = 2
BATCH: Final = 500
FIRST_PART: Final = 0.25  # of the flight: buffers, tails and caches fill up in it


def run(folder: Path, scale: float) -> list[Row]:
    """All rows of this part, flown in a process of its own."""
    hours = max(0.05, HOURS * min(scale, 1.0))
    words = [sys.executable, "-m", "tests.tools.bench.memory", str(folder / "store"), str(hours)]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, check=False)
    if done.returncode != 0:
        raise RuntimeError("the flight for the memory failed:\n" + done.stderr.decode()[-2000:])
    told = json.loads(done.stdout.splitlines()[-1])  # the service's log comes before it
    against = "its frames as plain numbers"
    raw = told["raw_mb"]
    what = f"of a sortie of {hours:g} h at {data.RATE_HZ} Hz, every column"
    held, disk = max(told["held_mb"], 0.0) / hours, told["disk_mb"] / hours
    return [
        Row("memory_hour", f"memory per sortie-hour, {what}", held, "MB", held / raw, against),
        Row("memory_growth", "memory growth per sortie-hour after the first quarter", told["growth_mb"], "MB"),
        Row("disk_hour", f"disk per sortie-hour, {what}", disk, "MB", disk / raw, against),
    ]


def _resident_mb() -> float:
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def _disk_mb(folder: Path) -> float:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


async def fly(folder: Path, hours: float) -> dict[str, float]:
    """SORTIES at once for so long, as fast as it goes."""
    from spinfloor.adapters.sqlite import open_store
    from spinfloor.core.frames import FrameBlock
    from spinfloor.core.plan.load import plan_to_data
    from spinfloor.detect.supervisor import Supervisor
    from spinfloor.detect.warm import warm_kernel
    from spinfloor.ports.inputs import FramesInput
    from spinfloor.ports.sorties import SortieKind, SortieRecord

    warm_kernel()
    block = data.one_set(0)
    ports = open_store(folder)
    supervisor = Supervisor(ports, owner="embedded")
    supervisor.warm.set()
    plan = data.plan()
    before = _resident_mb()
    names = [f"m{n}" for n in range(SORTIES)]
    for name in names:
        await ports.sorties.create(SortieRecord(name, SortieKind.FLIGHT, 0, plan.aircraft.name, plan_to_data(plan)))
    batches = round(hours * 3600 * data.RATE_HZ) // BATCH
    memory: list[float] = []
    for n in range(batches):
        first = n * BATCH % (len(block) - BATCH)
        times = data.START_NS + n * BATCH * data.STEP_NS + (block.time_ns[:BATCH] - block.time_ns[0])
        part = FrameBlock(times, block.values[first : first + BATCH])
        for name in names:
            appended = await ports.inputs.append(name, FramesInput("s", n, ports.clock.wall_ns(), part))
            runtime = await supervisor.runtime(name)
            assert runtime is not None
            await runtime.reached(appended.offset)
        memory.append(_resident_mb() if n % 20 == 0 or n == batches - 1 else memory[-1])
    await supervisor.close()
    await ports.close()
    settled = int(batches * FIRST_PART)
    flown_h = hours * (1.0 - FIRST_PART) * SORTIES
    disk = _disk_mb(folder)
    columns = len(block.to_columns())
    return {
        "held_mb": (memory[-1] - before) / SORTIES,
        "growth_mb": (memory[-1] - memory[settled]) / flown_h,
        "disk_mb": disk / SORTIES,
        "raw_mb": 3600.0 * data.RATE_HZ * 8 * columns / 1e6,
    }


if __name__ == "__main__":
    print(json.dumps(asyncio.run(fly(Path(sys.argv[1]), float(sys.argv[2])))))
