"""A player that is stopped leaves nothing running behind."""

from __future__ import annotations

import asyncio
from pathlib import Path

import numpy as np
from tests.waiting import until

from spinfloor.adapters.sqlite import open_store
from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.frames import FrameBlock
from spinfloor.ingest.service import Ingest
from spinfloor.replay.player import Player


async def test_stopped_while_it_waits_it_leaves_no_task(tmp_path: Path) -> None:
    ports = open_store(tmp_path / "store")
    before = asyncio.all_tasks()

    async def at_end() -> None:
        raise AssertionError("it was stopped")

    block = FrameBlock(np.arange(2, dtype=np.int64) * 10**12, np.zeros((2, CHANNEL_COUNT)))
    player = Player(block, "any", Ingest(ports.inputs, ports.clock), ports.bus, ports.clock, at_end)
    player.paused = True
    running = asyncio.create_task(player.run())

    async def waits() -> bool:  # for a change, and for the time of the next batch
        return len(asyncio.all_tasks() - before - {running}) == 2

    await until(waits, seconds=5.0, what="the player's pause")
    running.cancel()
    await asyncio.gather(running, return_exceptions=True)
    left = asyncio.all_tasks() - before
    await asyncio.wait(left, timeout=1.0) if left else None
    assert all(task.done() for task in left)
    await ports.close()
