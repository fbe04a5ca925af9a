"""EventJournal: each event once, in order, and only from the owner."""

from __future__ import annotations

import asyncio

import pytest
from tests.ports.contract.sides import Side, event

from spinfloor.core.events import Kind
from spinfloor.ports.errors import EventDivergedError, EventHoleError, LeaseLostError, UnknownSortieError


async def owned(side: Side, sortie: str, owner: str = "one") -> int:
    grant = await side.ports.leases.acquire(sortie, owner, ttl_s=30.0)
    assert grant is not None
    return grant.fence


async def test_events_come_back_as_they_were(side: Side) -> None:
    sortie = await side.sortie()
    fence = await owned(side, sortie)
    events = [event(sortie, i, kind=Kind.CALL if i % 2 else Kind.PHASE) for i in range(6)]
    assert await side.ports.events.append(events[:4], fence=fence) == 4
    assert await side.ports.events.append(events[4:], fence=fence) == 2
    assert [e.as_record() for e in await side.ports.events.read(sortie)] == [e.as_record() for e in events]
    assert [e.sequence for e in await side.ports.events.read(sortie, after=3)] == [4, 5]
    assert [e.sequence for e in await side.ports.events.read(sortie, after=0, limit=2)] == [1, 2]
    assert [e.sequence for e in await side.ports.events.read(sortie, kinds={"call"}, limit=2)] == [1, 3]
    assert await side.ports.events.read(sortie, kinds={"quality"}) == []
    assert await side.ports.events.read(sortie, after=5) == []
    assert await side.ports.events.read(sortie, after=99) == []
    assert await side.ports.events.next_sequence(sortie, "run-1") == 6


async def test_long_runs_are_read_to_the_end(side: Side) -> None:
    sortie = await side.sortie()
    fence = await owned(side, sortie)
    await side.ports.events.append([event(sortie, i) for i in range(1_100)], fence=fence)
    assert [e.sequence for e in await side.ports.events.read(sortie, limit=5_000)] == list(range(1_100))
    assert [e.sequence for e in await side.ports.events.read(sortie, after=1_050, limit=5_000)] == list(
        range(1_051, 1_100)
    )


async def test_an_event_offered_again_is_skipped(side: Side) -> None:
    sortie = await side.sortie()
    fence = await owned(side, sortie)
    await side.ports.events.append([event(sortie, 0), event(sortie, 1)], fence=fence)
    assert await side.ports.events.append([event(sortie, i) for i in range(4)], fence=fence) == 2
    assert await side.ports.events.append([event(sortie, 1)], fence=fence) == 0
    assert len(await side.ports.events.read(sortie)) == 4


async def test_another_event_under_the_same_identity_is_refused(side: Side) -> None:
    sortie = await side.sortie()
    fence = await owned(side, sortie)
    await side.ports.events.append([event(sortie, 0)], fence=fence)
    with pytest.raises(EventDivergedError):
        await side.ports.events.append([event(sortie, 0, note="other"), event(sortie, 1)], fence=fence)
    assert len(await side.ports.events.read(sortie)) == 1


async def test_no_hole(side: Side) -> None:
    sortie = await side.sortie()
    fence = await owned(side, sortie)
    with pytest.raises(EventHoleError):
        await side.ports.events.append([event(sortie, 1)], fence=fence)
    with pytest.raises(EventHoleError):
        await side.ports.events.append([event(sortie, 0), event(sortie, 2)], fence=fence)


async def test_runs_are_apart_and_the_last_opened_is_current(side: Side) -> None:
    sortie = await side.sortie()
    journal = side.ports.events
    assert await journal.current_run(sortie) is None
    assert await journal.read(sortie) == []
    assert await journal.runs(sortie) == []
    fence = await owned(side, sortie)
    await journal.append([event(sortie, 0, run="old.1 *")], fence=fence)
    await journal.open_run(sortie, "new>", fence=fence)
    assert await journal.current_run(sortie) == "new>"
    assert await journal.read(sortie) == []
    assert await journal.runs(sortie) == ["old.1 *", "new>"]
    await journal.append([event(sortie, 0, run="new>", note="b")], fence=fence)
    assert [e.run for e in await journal.read(sortie)] == ["new>"]
    assert [e.run for e in await journal.read(sortie, run="old.1 *")] == ["old.1 *"]
    await journal.open_run(sortie, "old.1 *", fence=fence)
    assert await journal.current_run(sortie) == "old.1 *"
    assert await journal.next_sequence(sortie, "old.1 *") == 1
    assert await journal.next_sequence(sortie, "none") == 0


async def test_a_former_owner_can_write_nothing(side: Side) -> None:
    sortie = await side.sortie()
    old = await owned(side, sortie)
    await side.ports.events.append([event(sortie, 0)], fence=old)
    new = await owned(side, sortie)  # the same name asking again is a new owner
    assert new > old
    with pytest.raises(LeaseLostError):
        await side.ports.events.append([event(sortie, 1)], fence=old)
    with pytest.raises(LeaseLostError):
        await side.ports.events.open_run(sortie, "run-2", fence=old)
    assert len(await side.ports.events.read(sortie)) == 1
    assert await side.ports.events.append([event(sortie, 1)], fence=new) == 1


async def test_a_write_under_way_is_not_torn_by_a_cancel(side: Side) -> None:
    sortie = await side.sortie()
    fence = await owned(side, sortie)
    events = [event(sortie, i) for i in range(40)]
    task = asyncio.create_task(side.ports.events.append(events, fence=fence))
    for _ in range(5):
        await asyncio.sleep(0)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    await side.ports.events.append(events, fence=fence)
    assert [e.sequence for e in await side.ports.events.read(sortie)] == list(range(40))


async def test_a_rerun_stands_aside_and_is_stored_whole_or_not_at_all(side: Side) -> None:
    sortie = await side.sortie()
    journal = side.ports.events
    with pytest.raises(UnknownSortieError):
        await journal.add_rerun("nobody", "rerun-a", [event("nobody", 0, run="rerun-a")])
    with pytest.raises(ValueError, match="not the name of a rerun"):
        await journal.add_rerun(sortie, "a", [event(sortie, 0, run="a")])
    assert await journal.add_rerun(sortie, "rerun-b", [event(sortie, 0, run="rerun-b")]) == 1
    assert await journal.current_run(sortie) is None
    fence = await owned(side, sortie)
    await journal.append([event(sortie, 0)], fence=fence)
    events = [event(sortie, i, run="rerun-a", note="a") for i in range(40)]
    assert await journal.add_rerun(sortie, "rerun-a", events) == 40
    assert await journal.add_rerun(sortie, "rerun-a", events) == 0
    for other in (events[:39], [*events[:39], event(sortie, 39, run="rerun-a")]):
        with pytest.raises(EventDivergedError):
            await journal.add_rerun(sortie, "rerun-a", other)
    with pytest.raises(EventHoleError):
        await journal.add_rerun(sortie, "rerun-c", [event(sortie, 1, run="rerun-c")])
    assert await journal.current_run(sortie) == "run-1"
    assert await journal.runs(sortie) == ["run-1", "rerun-b", "rerun-a"]
    assert [e.as_record() for e in await journal.read(sortie, run="rerun-a", after=37)] == [
        e.as_record() for e in events[38:]
    ]
    assert await journal.next_sequence(sortie, "rerun-a") == 40
    assert await journal.append([event(sortie, 1)], fence=fence) == 1  # the owner goes on unhindered
