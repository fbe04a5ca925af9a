"""Servers killed and started again under load: nothing acknowledged is lost, doubled or out of order."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial

import asyncpg
import pytest
from tests.ports.contract.sides import batch, event, sortie_record
from tests.servers.processes import NatsServer, PostgresServer
from tests.waiting import insist, until

from spinfloor.adapters.nats import NatsLink
from spinfloor.adapters.spread import Spread, open_spread
from spinfloor.ports import FramesInput, Ports
from spinfloor.ports.errors import StorageError

pytestmark = pytest.mark.servers

BATCHES = 400
EVENTS = 200


@asynccontextmanager
async def opened(nats: NatsServer, postgres: PostgresServer, prefix: str) -> AsyncIterator[Spread]:
    url = await asyncio.to_thread(postgres.database, prefix)
    spread = await open_spread(nats_url=nats.url, database_url=url, prefix=prefix)
    try:
        yield spread
    finally:
        await spread.ports.close()


@asynccontextmanager
async def copying(spread: Spread) -> AsyncIterator[None]:
    task = asyncio.create_task(spread.copier.run())
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def send(ports: Ports, sortie: str, acknowledged: list[int]) -> None:
    for sequence in range(BATCHES):
        await insist(partial(ports.inputs.append, sortie, batch(sequence, n=2)))
        acknowledged.append(sequence)


async def say(ports: Ports, sortie: str, fence: int) -> None:
    for sequence in range(EVENTS):
        await insist(partial(ports.events.append, [event(sortie, sequence)], fence=fence))


async def follow(ports: Ports, sortie: str, followed: list[int]) -> None:
    after = -1
    while len(followed) < BATCHES:
        try:
            async for entries in ports.inputs.follow(sortie, after=after):
                after = entries[-1].offset
                followed.extend(e.input.sequence for e in entries if isinstance(e.input, FramesInput))
                if len(followed) >= BATCHES:
                    return
        except StorageError:
            await asyncio.sleep(0.02)


async def kill(server: NatsServer, acknowledged: list[int]) -> None:
    async def reached(goal: int) -> bool:
        return len(acknowledged) >= goal

    for goal in (60, 200):
        await until(partial(reached, goal), what=f"batch {goal}")
        await asyncio.to_thread(server.stop, signal.SIGKILL)
        await asyncio.to_thread(server.start)


async def test_message_servers_killed_under_load(own_nats: NatsServer, postgres_server: PostgresServer) -> None:
    async with opened(own_nats, postgres_server, "killednats") as spread, copying(spread):
        ports = spread.ports
        await ports.sorties.create(sortie_record("kn-1"))
        grant = await ports.leases.acquire("kn-1", "one", ttl_s=60.0)
        assert grant is not None
        acknowledged: list[int] = []
        followed: list[int] = []
        async with asyncio.timeout(60), asyncio.TaskGroup() as tasks:
            tasks.create_task(send(ports, "kn-1", acknowledged))
            tasks.create_task(say(ports, "kn-1", grant.fence))
            tasks.create_task(follow(ports, "kn-1", followed))
            tasks.create_task(kill(own_nats, acknowledged))
        assert followed == list(range(BATCHES))
        events = await ports.events.read("kn-1", limit=1000)
        assert [e.as_record() for e in events] == [event("kn-1", i).as_record() for i in range(EVENTS)]
        await insist(spread.copier.catch_up)
        assert (await ports.frames.extent("kn-1")).frames == 2 * BATCHES


async def test_archive_killed_under_load(nats_server: NatsServer, own_postgres: PostgresServer) -> None:
    async with opened(nats_server, own_postgres, "killedpg") as spread, copying(spread):
        ports = spread.ports

        async def archived(frames: int) -> bool:
            return (await insist(lambda: ports.frames.extent("kp-1"))).frames >= frames

        await ports.sorties.create(sortie_record("kp-1"))
        for sequence in range(20):
            await ports.inputs.append("kp-1", batch(sequence, n=2))
        await until(lambda: archived(10), what="the first copies")
        await asyncio.to_thread(own_postgres.stop, signal.SIGQUIT)
        for sequence in range(20, 40):  # taking in goes on while the archive is away
            await ports.inputs.append("kp-1", batch(sequence, n=2))
        with pytest.raises(StorageError):
            await ports.sorties.create(sortie_record("kp-2"))
        assert await ports.ready() is not None
        await asyncio.to_thread(own_postgres.start)
        assert await insist(lambda: ports.sorties.create(sortie_record("kp-2")))
        await until(lambda: archived(80), what="the rest of the copies")
        source = (await ports.inputs.sources("kp-1"))[0]
        assert (source.batches, source.frames) == (40, 80)
        assert await ports.ready() is None


async def test_message_servers_without_room_are_not_ready_and_keep_what_they_have(
    own_nats: NatsServer, postgres_server: PostgresServer
) -> None:
    await asyncio.to_thread(own_nats.stop)
    own_nats.configure(store="1MB")
    await asyncio.to_thread(own_nats.start)
    async with opened(own_nats, postgres_server, "noroom") as spread:
        ports = spread.ports
        await ports.sorties.create(sortie_record("nr-1"))
        taken = 0
        refused: StorageError | None = None
        while refused is None and taken < 400:
            try:
                await ports.inputs.append("nr-1", batch(taken, n=100))
                taken += 1
            except StorageError as error:
                refused = error
        assert taken > 0
        assert "nothing was acknowledged" in str(refused)
        assert "resources" in (await ports.ready() or "")
        assert len(await ports.inputs.read("nr-1", limit=1000)) == taken
        await asyncio.to_thread(own_nats.stop)
        own_nats.configure()
        await asyncio.to_thread(own_nats.start)
        assert (await insist(lambda: ports.inputs.append("nr-1", batch(taken, n=100)))).duplicate is False
        assert await ports.ready() is None
        assert len(await ports.inputs.read("nr-1", limit=1000)) == taken + 1


async def test_an_archive_that_takes_no_writes_is_not_ready(
    nats_server: NatsServer, postgres_server: PostgresServer
) -> None:
    async with opened(nats_server, postgres_server, "readonly") as spread:
        assert await spread.ports.ready() is None
        url = await asyncio.to_thread(postgres_server.database, "readonly")
        for setting, words in (("on", "read-only"), ("off", "")):
            by_hand = await asyncpg.connect(url)
            await by_hand.execute("SET default_transaction_read_only = off")
            await by_hand.execute(f"ALTER DATABASE readonly SET default_transaction_read_only = {setting}")
            await by_hand.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = 'readonly' AND pid <> pg_backend_pid()"
            )
            await by_hand.close()

            async def told(words: str = words) -> bool:
                said = await spread.ports.ready() or ""
                return words in said if words else not said

            await until(told, what=f"readiness that says {words!r}")


async def test_asking_for_readiness_leaves_nothing_behind(
    nats_server: NatsServer, postgres_server: PostgresServer
) -> None:
    async with opened(nats_server, postgres_server, "asking") as spread:
        ports = spread.ports
        assert await ports.ready() is None
        link = await NatsLink.connect(nats_server.url, prefix="asking")
        assert [await link.first_position(what) for what in ("inputs", "events")] == [1, 1]
        await ports.sorties.create(sortie_record("-"))  # which is a name as good as any
        first = await ports.inputs.append("-", batch(0))
        assert await ports.ready() is None
        second = await ports.inputs.append("-", batch(1))
        assert await ports.ready() is None
        assert await link.first_position("inputs") == first.offset == 1
        await link.close()
        await spread.copier.catch_up()
        assert spread.copier.unreadable == 0
        stored = await ports.inputs.read("-")
        assert [entry.offset for entry in stored] == [first.offset, second.offset]
        assert (await ports.frames.extent("-")).frames == 6


async def test_two_copiers_copy_once(nats_server: NatsServer, postgres_server: PostgresServer) -> None:
    async with (
        opened(nats_server, postgres_server, "copiers") as one,
        opened(nats_server, postgres_server, "copiers") as two,
    ):
        await one.ports.sorties.create(sortie_record("cp-1"))
        for sequence in range(300):
            await one.ports.inputs.append("cp-1", batch(sequence, n=1))
        await asyncio.gather(one.copier.catch_up(), two.copier.catch_up())
        await one.copier.catch_up()
        source = (await one.ports.inputs.sources("cp-1"))[0]
        assert (source.batches, source.frames) == (300, 300)
        assert (await one.ports.frames.extent("cp-1")).frames == 300
