"""A flight of twelve hours (--hours), simulated as fast as it goes: the process's memory must stay flat.

A recording with two spins is flown over and over through the real store and the real detector, as `spinfloor serve` has
them. Prints a line per hour flown and ends with 1 when the last hours took more memory than the first (beyond --slack MB).
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import os
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

from tests.places import ROOT

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.adapters.sqlite import open_store
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.load import plan_to_data
from spinfloor.detect.supervisor import Supervisor
from spinfloor.detect.warm import warm_kernel
from spinfloor.ports.inputs import FramesInput
from spinfloor.ports.sorties import SortieKind, SortieRecord

RECORDING: Final = ROOT / "replay_data" / "r02-left-right-pair"
BATCH: Final = 100
GAP_NS: Final = 20_000_000


def memory_mb() -> float:
    """Resident memory of this process (proc(5): statm field 2)."""
    gc.collect()
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


async def fly(hours: float, folder: Path) -> list[float]:
    """Resident memory after each hour flown."""
    plan = load_plan(RECORDING.with_suffix(".plan.yaml"))
    data = {**plan_to_data(plan)}
    data["timing"] = {**data.get("timing", {}), "data_age_limit_s": 10.0}
    block = read_recording(RECORDING.with_suffix(".parquet")).block
    span_ns = int(block.time_ns[-1] - block.time_ns[0]) + GAP_NS
    ports = open_store(folder)
    supervisor = Supervisor(ports, owner="embedded")
    supervisor.warm.set()
    await ports.sorties.create(SortieRecord("long", SortieKind.FLIGHT, 0, plan.aircraft.name, data))
    memory: list[float] = []
    sequence, begun = 0, time.monotonic()
    for n in range(int(hours * 3600e9 / span_ns) + 1):
        for start in range(0, len(block), BATCH):
            part = block.slice(start, min(start + BATCH, len(block)))
            moved = FrameBlock(part.time_ns + n * span_ns, part.values)
            appended = await ports.inputs.append("long", FramesInput("s", sequence, ports.clock.wall_ns(), moved))
            sequence += 1
        runtime = await supervisor.runtime("long")
        assert runtime is not None
        await runtime.reached(appended.offset)
        if (n + 1) * span_ns >= (len(memory) + 1) * 3600e9:
            memory.append(memory_mb())
            waiting = ports.gauges()["store_queue"] + supervisor.waiting()
            print(
                f"{len(memory):3} h flown  {memory[-1]:7.1f} MB  {supervisor.events_made():7} events  "
                f"{waiting:g} waiting  {time.monotonic() - begun:5.0f} s",
                flush=True,
            )
    await supervisor.close()
    await ports.close()
    return memory


def main() -> int:
    """Entry."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=12.0)
    parser.add_argument("--slack", type=float, default=8.0, help="MB that the last third may lie above the second hour")
    given = parser.parse_args()
    warm_kernel()
    with tempfile.TemporaryDirectory() as folder:
        memory = asyncio.run(fly(given.hours, Path(folder)))
    if len(memory) < 3:
        print("too short to judge")
        return 0
    growth = sum(memory[-(len(memory) // 3) :]) / (len(memory) // 3) - memory[1]
    print(f"the last third of the flight lies {growth:+.1f} MB from the second hour (allowed {given.slack:g})")
    return 1 if growth > given.slack else 0


if __name__ == "__main__":
    sys.exit(main())
