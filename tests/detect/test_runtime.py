"""The detector at work on a real store: ticks in silence, restarts mid-spin, owners that have lost a sortie."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from tests.serving_thread import frames, plan_data
from tests.waiting import until

from spinfloor.adapters.sqlite import open_store
from spinfloor.core.events import Event
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.load import plan_from
from spinfloor.detect.building import build_detector
from spinfloor.detect.supervisor import Supervisor
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import LeaseLostError
from spinfloor.ports.inputs import FramesInput, TickInput
from spinfloor.ports.sorties import SortieKind, SortieRecord

IN_SPIN = 300  # a frame well inside the first spin, checked below


def record(kind: SortieKind = SortieKind.FLIGHT, **timing: float) -> SortieRecord:
    data = plan_data(**timing)
    return SortieRecord("s", kind, 0, plan_from(data).aircraft.name, data)


@asynccontextmanager
async def at_work(folder: Path, sortie: SortieRecord) -> AsyncIterator[tuple[Ports, Supervisor]]:
    """A store and a supervisor on it, as the embedded mode has them."""
    ports = open_store(folder)
    supervisor = Supervisor(ports, owner="embedded")
    supervisor.warm.set()
    try:
        await ports.sorties.create(sortie)
        await supervisor.start()
        yield ports, supervisor
    finally:
        await supervisor.close()
        await ports.close()


async def send(ports: Ports, supervisor: Supervisor, block: FrameBlock, sequence: int) -> None:
    """Journal a batch and wait until its events are on disk."""
    appended = await ports.inputs.append("s", FramesInput("t", sequence, ports.clock.wall_ns(), block))
    runtime = await supervisor.runtime("s")
    assert runtime is not None
    await runtime.reached(appended.offset)


async def reprocessed(ports: Ports, sortie: SortieRecord) -> tuple[list[dict[str, Any]], int]:
    """Events of a fresh detector fed the journalled inputs, and the number of ticks among those."""
    detector, events, ticks = build_detector(sortie), list[Event](), 0
    for entry in await ports.inputs.read("s", limit=100_000):
        if isinstance(entry.input, FramesInput):
            events += detector.feed(entry.input.block)
        elif isinstance(entry.input, TickInput):
            events += detector.tick(entry.input.time_ns)
            ticks += 1
    return [event.as_record() for event in events], ticks


async def test_silence_in_a_spin_is_called_and_journalled(tmp_path: Path) -> None:
    sortie = record(data_age_limit_s=0.2)
    async with at_work(tmp_path, sortie) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, IN_SPIN), 0)
        runtime = await supervisor.runtime("s")
        assert runtime is not None
        assert runtime.detector.snapshot()["in_spin"] is True
        lost = await until(lambda: ports.events.read("s", kinds={"link"}), what="the loss of data")
        assert len(lost) == 1
        state = await runtime.state()
        assert (state["link"], state["estimated"]) == ("lost", True)
        await send(ports, supervisor, frames().slice(IN_SPIN, len(frames())), 1)
        there = [event.as_record() for event in await ports.events.read("s", limit=10_000)]
        again, ticks = await reprocessed(ports, sortie)
        assert ticks > 0
        assert there == again[: len(there)]
    assert len([e for e in there if e["kind"] == "link"]) >= 2


async def test_a_second_gateway_minutes_late_hides_no_loss(tmp_path: Path) -> None:
    """The first one's frames stop in a spin; the other goes on sending what it had sent long before."""
    async with at_work(tmp_path, record(data_age_limit_s=0.3)) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, IN_SPIN), 0)
        runtime = await supervisor.runtime("s")
        assert runtime is not None
        later = count(1)

        async def lost() -> list[Event]:
            n = next(later)
            await send(ports, supervisor, frames().slice(n % IN_SPIN, n % IN_SPIN + 1), n)
            return await ports.events.read("s", kinds={"link"})

        (said,) = await until(lost, what="the loss of data")
        state = await runtime.state()
        assert said.data["state"] == "lost"
        assert state["data_age_s"] >= 0.3


async def test_a_parked_aircraft_is_not_ticked_for_ever(tmp_path: Path) -> None:
    async with at_work(tmp_path, record(data_age_limit_s=0.1)) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, 20), 0)
        await until(lambda: ports.events.read("s", kinds={"link"}), what="the loss of data")
        newest = await ports.inputs.newest_offset("s")
        runtime = await supervisor.runtime("s")
        assert runtime is not None
        await runtime.reached(newest)
        await asyncio.sleep(0.3)  # three limits in which nothing may happen
        assert await ports.inputs.newest_offset("s") == newest


async def test_a_rehearsal_nobody_plays_is_not_ticked(tmp_path: Path) -> None:
    async with at_work(tmp_path, record(SortieKind.REHEARSAL, data_age_limit_s=0.1)) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, IN_SPIN), 0)
        newest = await ports.inputs.newest_offset("s")
        await asyncio.sleep(0.3)  # three limits in which nothing may happen
        assert await ports.inputs.newest_offset("s") == newest


@pytest.mark.parametrize("cut", [IN_SPIN, 2050])
async def test_a_restart_mid_spin_goes_on_with_the_same_turns_and_events(tmp_path: Path, cut: int) -> None:
    sortie = record(data_age_limit_s=10.0)
    async with at_work(tmp_path, sortie) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, cut), 0)
        runtime = await supervisor.runtime("s")
        assert runtime is not None
        before = runtime.detector.snapshot()
    async with at_work(tmp_path, sortie) as (ports, supervisor):
        runtime = await supervisor.runtime("s")
        assert runtime is not None
        assert runtime.detector.snapshot() == before
        await send(ports, supervisor, frames().slice(cut, len(frames())), 1)
        there = [event.as_record() for event in await ports.events.read("s", limit=10_000)]
        again, ticks = await reprocessed(ports, sortie)
    assert ticks == 0
    assert there == again


async def test_an_owner_who_lost_the_sortie_writes_nothing_more(tmp_path: Path) -> None:
    async with at_work(tmp_path, record(data_age_limit_s=10.0)) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, IN_SPIN), 0)
        runtime = await supervisor.runtime("s")
        assert runtime is not None
        old = runtime.grant
        assert await ports.leases.acquire("s", "another", ttl_s=5.0) is None
        newer = await ports.leases.acquire("s", "embedded", ttl_s=5.0)
        assert newer is not None
        assert newer.fence > old.fence
        events = await ports.events.read("s")
        with pytest.raises(LeaseLostError):
            await ports.events.append(events, fence=old.fence)


async def test_a_newer_detector_looks_at_an_old_sortie_and_leaves_its_run_in_force(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sortie = record(data_age_limit_s=10.0)
    async with at_work(tmp_path, sortie) as (ports, supervisor):
        await send(ports, supervisor, frames().slice(0, 2050), 0)
        flown = await ports.events.current_run("s")
        told = await ports.events.read("s", limit=10_000)
    monkeypatch.setattr("spinfloor.core.detector.detector.DETECTOR_VERSION", "next")
    async with at_work(tmp_path, sortie) as (ports, supervisor):
        runtime = await supervisor.runtime("s")
        assert runtime is not None
        assert runtime.detector.run.startswith("next-")
        await runtime.reached(await ports.inputs.newest_offset("s"))
        assert (await runtime.state())["spin_ordinal"] is not None
        assert await ports.events.runs("s") == [flown]
        assert await ports.events.read("s", limit=10_000) == told
        await send(ports, supervisor, frames().slice(2050, len(frames())), 1)
        assert await ports.events.current_run("s") == runtime.detector.run
        there = [event.as_record() for event in await ports.events.read("s", limit=10_000)]
        again, _ = await reprocessed(ports, sortie)
        assert there == again
        assert [e.data for e in await ports.events.read("s", run=flown, limit=10_000)] == [e.data for e in told]


async def test_frames_sent_again_after_a_break_are_told_as_late_also_after_a_restart(tmp_path: Path) -> None:
    sortie, way_s = record(), [0.0, 0.0]
    for place, (block, came_ago_s) in enumerate(((frames().slice(0, 100), 60.0), (frames().slice(100, 101), 0.0))):
        async with at_work(tmp_path, sortie) as (ports, supervisor):
            came_ns = ports.clock.wall_ns() - int(came_ago_s * 1e9)
            way_s[place] = (came_ns - int(block.time_ns[-1])) * 1e-9
            appended = await ports.inputs.append("s", FramesInput("t", place, came_ns, block))
            runtime = await supervisor.runtime("s")
            assert runtime is not None
            await runtime.reached(appended.offset)
            state = await runtime.state()
        assert state["data_late_s"] == pytest.approx(way_s[place] - way_s[0], abs=0.01)
        assert state["data_age_s"] >= came_ago_s + state["data_late_s"]
