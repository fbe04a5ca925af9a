"""Leases and CheckpointStore: one owner at a time, and where it goes on from."""

from __future__ import annotations

import asyncio
import time

import pytest
from tests.ports.contract.sides import Side

from spinfloor.ports import Checkpoint, Grant
from spinfloor.ports.errors import LeaseLostError


async def eventually(side: Side, sortie: str, owner: str, *, limit_s: float = 10.0) -> Grant:
    """Ask until it is granted."""
    deadline = time.monotonic() + limit_s
    while time.monotonic() < deadline:
        grant = await side.ports.leases.acquire(sortie, owner, ttl_s=30.0)
        if grant is not None:
            return grant
    raise AssertionError(f"{owner} was not granted {sortie} within {limit_s} s")


async def test_one_owner_at_a_time(side: Side) -> None:
    sortie = await side.sortie()
    grant = await side.ports.leases.acquire(sortie, "one", ttl_s=30.0)
    assert grant is not None
    assert (grant.sortie, grant.owner) == (sortie, "one")
    assert grant.expires_ns > time.time_ns()
    assert await side.ports.leases.acquire(sortie, "two", ttl_s=30.0) is None
    again = await side.ports.leases.renew(grant, ttl_s=30.0)
    assert again.fence == grant.fence
    assert await side.ports.leases.acquire(sortie, "two", ttl_s=30.0) is None


async def test_many_asking_at_once_make_one_owner(side: Side) -> None:
    sortie = await side.sortie()
    asked = [side.ports.leases.acquire(sortie, f"d{i}", ttl_s=30.0) for i in range(10)]
    assert sum(grant is not None for grant in await asyncio.gather(*asked)) == 1


async def test_released_is_free_and_the_fence_rises(side: Side) -> None:
    sortie = await side.sortie()
    fences = []
    for owner in ("one", "two", "one"):
        grant = await side.ports.leases.acquire(sortie, owner, ttl_s=30.0)
        assert grant is not None
        fences.append(grant.fence)
        grant = await side.ports.leases.renew(grant, ttl_s=30.0)
        await side.ports.leases.release(grant)
        await side.ports.leases.release(grant)
    assert fences == sorted(set(fences))


async def test_an_unrenewed_lease_passes_on(side: Side) -> None:
    sortie = await side.sortie()
    old = await side.ports.leases.acquire(sortie, "one", ttl_s=0.2)
    assert old is not None
    assert await side.ports.leases.acquire(sortie, "two", ttl_s=30.0) is None
    new = await eventually(side, sortie, "two")
    assert new.fence > old.fence
    with pytest.raises(LeaseLostError):
        await side.ports.leases.renew(old, ttl_s=30.0)
    await side.ports.leases.release(old)
    assert await side.ports.leases.acquire(sortie, "one", ttl_s=30.0) is None


async def test_the_newest_checkpoint_wins(side: Side) -> None:
    sortie = await side.sortie()
    grant = await eventually(side, sortie, "one")
    store = side.ports.checkpoints
    assert await store.newest(sortie) is None
    first = Checkpoint(sortie, "run-1", 10, 3, bytes(range(256)), b'{"frame_ns":1}')
    await store.save(first, fence=grant.fence)
    assert await store.newest(sortie) == first
    later = Checkpoint(sortie, "run-1", 20, 5, b"later" * 20_000)
    await store.save(later, fence=grant.fence)
    await store.save(first, fence=grant.fence)
    assert await store.newest(sortie, "run-1") == later
    other = Checkpoint(sortie, "run.2 >", 5, 1, b"")
    await store.save(other, fence=grant.fence)
    assert await store.newest(sortie, "run.2 >") == other
    assert await store.newest(sortie) == later
    assert await store.newest(sortie, "run-3") is None
    level = Checkpoint(sortie, "run-4", 20, 5, b"of a detector that came later")
    await store.save(level, fence=grant.fence)
    assert await store.newest(sortie) == level


async def test_a_former_owner_saves_no_checkpoint(side: Side) -> None:
    sortie = await side.sortie()
    old = await side.ports.leases.acquire(sortie, "one", ttl_s=30.0)
    new = await side.ports.leases.acquire(sortie, "one", ttl_s=30.0)
    assert old is not None
    assert new is not None
    with pytest.raises(LeaseLostError):
        await side.ports.checkpoints.save(Checkpoint(sortie, "run-1", 1, 0, b"x"), fence=old.fence)
    await side.ports.checkpoints.save(Checkpoint(sortie, "run-1", 1, 0, b"y"), fence=new.fence)
