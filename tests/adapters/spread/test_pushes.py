"""Following a stream over what the server hands over: whatever happens to the hand-over, every input comes once, in order."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from nats.aio.client import Client
from nats.aio.msg import Msg
from tests.adapters.spread.test_restarts import opened
from tests.ports.contract.sides import batch, sortie_record
from tests.servers.processes import NatsServer, PostgresServer
from tests.waiting import until

from spinfloor.adapters.nats.pushes import WAITING_AT_MOST, Push, pushed
from spinfloor.ports import FramesInput, Ports

pytestmark = pytest.mark.servers


@asynccontextmanager
async def following(ports: Ports, sortie: str, seen: list[int]) -> AsyncIterator[None]:
    async def follow() -> None:
        async for entries in ports.inputs.follow(sortie):
            seen.extend(entry.input.sequence for entry in entries if isinstance(entry.input, FramesInput))

    task = asyncio.create_task(follow())
    try:
        yield
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def came(seen: list[int], count: int) -> None:
    async def enough() -> bool:
        return len(seen) >= count

    await until(enough, what=f"input {count}")


async def asked(client: Client, subject: str) -> dict[str, object]:
    answer = await client.request(f"$JS.API.CONSUMER.{subject}", b"", timeout=5.0)
    return dict(json.loads(answer.data))


async def test_a_consumer_that_is_gone_is_replaced(nats_server: NatsServer, postgres_server: PostgresServer) -> None:
    async with opened(nats_server, postgres_server, "pushgone") as spread:
        ports = spread.ports
        await ports.sorties.create(sortie_record("s"))
        client = Client()
        await client.connect(nats_server.url)
        seen: list[int] = []
        gone: set[str] = set()
        async with following(ports, "s", seen):
            for i in range(60):
                await ports.inputs.append("s", batch(i, n=1))
                await came(seen, i + 1)
                if i % 20 == 10:
                    names = (await asked(client, "NAMES.pushgone-inputs"))["consumers"] or []
                    assert isinstance(names, list)
                    for name in set(names) - gone:
                        await asked(client, f"DELETE.pushgone-inputs.{name}")
                        gone.add(name)
        await client.close()
    assert seen == list(range(60))
    assert len(gone) == 3, "one was taken away each time, so each time there was a new one"


async def test_a_reader_that_falls_behind_is_handed_no_more_than_fits(
    nats_server: NatsServer, postgres_server: PostgresServer
) -> None:
    async with opened(nats_server, postgres_server, "pushslow") as spread:
        ports = spread.ports
        await ports.sorties.create(sortie_record("s"))
        follower = aiter(ports.inputs.follow("s"))
        await ports.inputs.append("s", batch(0, n=1))
        seen = [e.input.sequence for e in await anext(follower) if isinstance(e.input, FramesInput)]
        waiting = asyncio.ensure_future(anext(follower))  # the follower stands at the hand-over
        await ports.inputs.append("s", batch(1, n=1))
        seen += [e.input.sequence for e in await waiting if isinstance(e.input, FramesInput)]
        for i in range(2, 2 * WAITING_AT_MOST):
            await ports.inputs.append("s", batch(i, n=1))
        while len(seen) < 2 * WAITING_AT_MOST:
            entries = await anext(follower)
            assert len(entries) <= WAITING_AT_MOST
            seen += [e.input.sequence for e in entries if isinstance(e.input, FramesInput)]
    assert seen == list(range(2 * WAITING_AT_MOST))


async def test_a_hole_in_the_hand_over_shows_at_once(nats_server: NatsServer) -> None:
    client = Client()
    await client.connect(nats_server.url)
    js = client.jetstream()
    await js.add_stream(name="holes", subjects=["holes.>"])
    try:
        async with pushed(client, "holes", "holes.>", 0) as push:
            for i in range(4):
                await js.publish(f"holes.{i}", b"x")
            handed: list[tuple[int, Msg]] = []
            while len(handed) < 4:
                handed += await push.next(5.0)
            assert [position for position, _ in handed] == [1, 2, 3, 4]
            assert not push.broken
            fresh = Push()
            for _, message in (handed[0], handed[1], handed[3]):
                await fresh.came(message)
            assert fresh.broken
            assert [position for position, _ in await fresh.next(0.0)] == [1, 2], "nothing behind the hole"
    finally:
        await js.delete_stream("holes")
        await client.close()
