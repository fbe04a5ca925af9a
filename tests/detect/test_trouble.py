"""A detector among troubles: a damaged checkpoint, a wall clock that jumps, a flight of many hours."""

from __future__ import annotations

import asyncio
import gc
import sqlite3
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.detect.test_runtime import IN_SPIN, record, reprocessed, send
from tests.serving_thread import frames
from tests.waiting import until

from spinfloor.adapters.sqlite import DATABASE_NAME, open_store
from spinfloor.core.frames import FrameBlock
from spinfloor.detect.supervisor import Supervisor
from spinfloor.ports.bundle import Ports
from spinfloor.ports.clock import Clock
from spinfloor.ports.inputs import FramesInput

HOUR_NS = 3_600_000_000_000
DAMAGE = "UPDATE checkpoints SET data = CAST(substr(data, 1, 100) || x'00ff' || substr(data, 103) AS BLOB)"
SHORTENED = "UPDATE checkpoints SET data = CAST(substr(data, 1, 5) || x'01' || substr(data, 7) AS BLOB)"
UNREADABLE = "UPDATE checkpoints SET data = CAST(data AS TEXT)"  # the driver refuses the row
PATIENT_S = 10.0


class JumpingClock:
    """The system's clocks; the wall clock can be set like the system's own can."""

    def __init__(self) -> None:
        self.set_by_ns = 0

    def wall_ns(self) -> int:
        return time.time_ns() + self.set_by_ns

    def steady_ns(self) -> int:
        return time.monotonic_ns()

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds)


@asynccontextmanager
async def at_work(folder: Path, clock: Clock | None = None) -> AsyncIterator[tuple[Ports, Supervisor]]:
    ports = open_store(folder, clock=clock)
    supervisor = Supervisor(ports, owner="embedded")
    supervisor.warm.set()
    try:
        await ports.sorties.create(record(data_age_limit_s=PATIENT_S))
        await supervisor.start()
        yield ports, supervisor
    finally:
        await supervisor.close()
        await ports.close()


@pytest.mark.parametrize("damage", [DAMAGE, SHORTENED])
async def test_a_damaged_checkpoint_is_passed_over_and_the_events_are_the_same(tmp_path: Path, damage: str) -> None:
    async with at_work(tmp_path) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, IN_SPIN), 0)
    with sqlite3.connect(tmp_path / DATABASE_NAME) as database:
        changed = database.execute(damage)
        assert changed.rowcount == 1
    database.close()
    async with at_work(tmp_path) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(IN_SPIN, len(frames())), 1)
        assert supervisor.trouble("s") is None
        there = [event.as_record() for event in await ports.events.read("s", limit=10_000)]
        again, _ = await reprocessed(ports, record(data_age_limit_s=PATIENT_S))
    assert there == again


async def test_a_sortie_that_cannot_be_read_is_shown_in_trouble_and_holds_up_no_other(tmp_path: Path) -> None:
    async with at_work(tmp_path) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, IN_SPIN), 0)
    with sqlite3.connect(tmp_path / DATABASE_NAME) as database:
        database.execute(UNREADABLE)
    database.close()
    async with at_work(tmp_path) as (ports, supervisor):
        assert await supervisor.runtime("s", timeout_s=0.5) is None
        await until(lambda: _said(supervisor.trouble("s")), what="the trouble")
        assert "kept" in str(supervisor.trouble("s"))
        await ports.sorties.create(replace(record(data_age_limit_s=PATIENT_S), id="other"))
        await ports.inputs.append("other", FramesInput("t", 0, 0, frames().slice(0, 50)))
        runtime = await supervisor.runtime("other")
        assert runtime is not None
        await runtime.reached(0)


async def _said(words: str | None) -> bool:
    return words is not None


@pytest.mark.parametrize("jump_ns", [24 * HOUR_NS, -24 * HOUR_NS, 30 * 365 * 24 * HOUR_NS, -1_000_000_000])
async def test_a_wall_clock_that_is_set_mid_spin_changes_no_event(tmp_path: Path, jump_ns: int) -> None:
    clock = JumpingClock()
    async with at_work(tmp_path, clock) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, IN_SPIN), 0)
        clock.set_by_ns = jump_ns
        for sequence, start in enumerate(range(IN_SPIN, len(frames()), 200), 1):
            await send(ports, supervisor, frames().slice(start, min(start + 200, len(frames()))), sequence)
        assert supervisor.trouble("s") is None
        there = [event.as_record() for event in await ports.events.read("s", limit=10_000)]
        again, ticks = await reprocessed(ports, record(data_age_limit_s=PATIENT_S))
    assert ticks == 0
    assert there == again
    assert not [event for event in there if event["kind"] == "link"]


def later(block: FrameBlock, by_ns: int) -> FrameBlock:
    return FrameBlock(block.time_ns + by_ns, block.values)


async def fly_again_and_again(ports: Ports, supervisor: Supervisor, first: int, count: int) -> None:
    """The recording over and over, as one long flight: `count` times from its `first`-th time on."""
    span = int(frames().time_ns[-1] - frames().time_ns[0]) + 20_000_000
    for n in range(first, first + count):
        await send(ports, supervisor, later(frames(), n * span), n)


def kept_objects() -> int:
    gc.collect()
    return len(gc.get_objects())


async def test_a_flight_of_hours_leaves_nothing_behind_in_memory(tmp_path: Path) -> None:
    """Each round is some minutes of flight with two spins. `make bench-long` flies twelve hours and weighs the process."""
    async with at_work(tmp_path) as (ports, supervisor):
        await fly_again_and_again(ports, supervisor, 0, 6)
        before = kept_objects()
        await fly_again_and_again(ports, supervisor, 6, 12)
        after = kept_objects()
        assert ports.gauges()["store_queue"] == 0
        assert supervisor.waiting() == 0
        frames_there = (await ports.frames.extent("s")).frames
    assert frames_there == 18 * len(frames())
    assert after - before < 500, f"{after - before} objects more after 12 rounds"


def test_the_recording_is_long_enough_to_mean_something() -> None:
    seconds = (frames().time_ns[-1] - frames().time_ns[0]) * 1e-9
    assert seconds > 30
    assert np.all(np.diff(frames().time_ns) > 0)
