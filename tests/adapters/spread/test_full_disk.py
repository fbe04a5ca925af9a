"""The message server's disk runs full: nothing acknowledged is lost, and the operator is told what to do."""

from __future__ import annotations

import asyncio
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.adapters.spread.test_restarts import opened
from tests.ports.contract.sides import batch, sortie_record
from tests.servers.processes import NatsServer, PostgresServer, running
from tests.waiting import until

from spinfloor.ports import FramesInput, Ports

pytestmark = [pytest.mark.servers, pytest.mark.skipif(os.geteuid() != 0, reason="needs root to mount a small disk")]


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """Eight MB."""
    place = tmp_path / "disk"
    place.mkdir()
    if subprocess.run(["mount", "-t", "tmpfs", "-o", "size=8m", "none", place], check=False).returncode:
        pytest.skip("the system doesn't let this user mount a disk")
    yield place
    subprocess.run(["umount", "-l", place], check=False)


def more_room(disk: Path) -> None:
    subprocess.run(["mount", "-o", "remount,size=64m", disk], check=True)


async def taken(ports: Ports) -> list[int]:
    found: list[int] = []
    after = -1
    while entries := await ports.inputs.read("full", after=after):
        found += [one.input.sequence for one in entries if isinstance(one.input, FramesInput)]
        after = entries[-1].offset
    return found


async def test_a_full_disk_loses_nothing_acknowledged(disk: Path, postgres_server: PostgresServer) -> None:
    nats = NatsServer()
    nats.store = disk / "store"
    nats.configure()
    with running(nats):
        async with opened(nats, postgres_server, "fulldisk") as spread:
            ports = spread.ports
            await ports.sorties.create(sortie_record("full"))
            acknowledged: list[int] = []
            refused = False
            for first in range(0, 3000, 20):
                sending = [ports.inputs.append("full", batch(first + n, n=100)) for n in range(20)]
                told = await asyncio.gather(*sending, return_exceptions=True)
                acknowledged += [first + n for n, one in enumerate(told) if not isinstance(one, BaseException)]
                if len(acknowledged) < first + 20:
                    refused = True
                    break
            assert refused

            assert "restart them" in (await ports.ready() or "")
            assert set(acknowledged) <= set(await taken(ports))
            await asyncio.to_thread(more_room, disk)
            await asyncio.to_thread(nats.stop)
            await asyncio.to_thread(nats.start)

            async def ready() -> bool:
                return await ports.ready() is None

            await until(ready, what="readiness")
            there = await taken(ports)
            assert there == sorted(there)
            assert set(acknowledged) <= set(there)
            again = await ports.inputs.append("full", batch(acknowledged[-1], n=100))
            assert again.duplicate
