"""A player on its own: stopped, disturbed while it sends, refused."""

from __future__ import annotations

import asyncio
from pathlib import Path

import numpy as np
from tests.waiting import until

from spinfloor.adapters.sqlite import open_store
from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.frames import FrameBlock
from spinfloor.detect.messages import played_subject
from spinfloor.ingest.service import Ingest
from spinfloor.ports.bundle import Ports
from spinfloor.ports.sorties import SortieKind, SortieRecord
from spinfloor.replay.model import Fault
from spinfloor.replay.player import Player


def frames(count: int, *, every_ns: int) -> FrameBlock:
    return FrameBlock(np.arange(count, dtype=np.int64) * every_ns, np.zeros((count, CHANNEL_COUNT)))


async def nothing() -> None: ...


async def store_with_a_sortie(folder: Path) -> Ports:
    ports = open_store(folder)
    await ports.sorties.create(SortieRecord("any", SortieKind.REHEARSAL, 1, "a", {}, None, 0))
    return ports


async def test_stopped_while_it_waits_it_leaves_no_task(tmp_path: Path) -> None:
    ports = open_store(tmp_path / "store")
    before = asyncio.all_tasks()

    async def at_end() -> None:
        raise AssertionError("it was stopped")

    block = frames(2, every_ns=10**12)
    player = Player(block, "any", Ingest(ports.inputs, ports.clock), ports.bus, ports.clock, at_end)
    player.paused = True
    running = asyncio.create_task(player.run())

    async def waits() -> bool:  # for a change, and for the time of the next batch
        return len(asyncio.all_tasks() - before - {running}) == 2

    await until(waits, seconds=5.0, what="the player's pause")
    running.cancel()
    await asyncio.gather(running, return_exceptions=True)
    left = asyncio.all_tasks() - before
    await asyncio.wait(left, timeout=60.0) if left else None
    assert all(task.done() for task in left)
    await ports.close()


async def test_faults_set_while_a_batch_is_on_its_way_wait_for_it(tmp_path: Path) -> None:
    ports = await store_with_a_sortie(tmp_path)
    block = frames(1000, every_ns=10**7)
    player = Player(block, "any", Ingest(ports.inputs, ports.clock), ports.bus, ports.clock, nothing)
    lost = Fault(kind="loss", from_s=2.0, to_s=8.0)
    await asyncio.gather(player.skip_to(5.0), player.set_faults([lost]))
    await player.skip_to(player.length_s)
    times = np.concatenate([b.time_ns async for b in ports.frames.blocks("any")])
    np.testing.assert_array_equal(times, block.time_ns[(block.time_ns <= 5 * 10**9) | (block.time_ns >= 8 * 10**9)])
    await ports.close()


async def test_a_batch_refused_for_good_ends_it_and_is_told(tmp_path: Path) -> None:
    ports = await store_with_a_sortie(tmp_path)
    ingest = Ingest(ports.inputs, ports.clock)
    for every_ns in (10**7, 2 * 10**7):
        player = Player(frames(3, every_ns=every_ns), "any", ingest, ports.bus, ports.clock, nothing)
        await player.run()
        assert player.ended
    assert player.trouble is not None
    assert "other frames under the same number" in player.trouble
    await ports.close()


async def test_played_past_its_end_nothing_is_missing(tmp_path: Path) -> None:
    """At a thousand times real time one step goes tens of seconds past the end: that is no lost link."""
    ports = await store_with_a_sortie(tmp_path)
    block = frames(100, every_ns=10**7)
    player = Player(block, "any", Ingest(ports.inputs, ports.clock), ports.bus, ports.clock, nothing)
    player.set_pace(speed=1000.0)
    await player.run()
    assert player.position_s > player.length_s + 1.0
    told = await ports.bus.latest(played_subject("any"))
    assert told is not None
    assert [int(number) for number in told.split()] == [int(block.time_ns[-1]), 0, 0]
    await ports.close()
