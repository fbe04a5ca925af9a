"""Streams pruned up to what the archive holds, while the parts run: nothing is missing, taken twice or numbered anew."""

from __future__ import annotations

import json

import pytest
from nats.aio.client import Client
from tests.adapters.spread.test_restarts import opened
from tests.ports.contract.sides import batch, event, sortie_record
from tests.servers.processes import NatsServer, PostgresServer

from spinfloor.adapters.nats import inputs
from spinfloor.ports import FramesInput

pytestmark = pytest.mark.servers


async def prune(nats: NatsServer, postgres: PostgresServer, prefix: str) -> None:
    """As docs/howto/run-spread-out.md says, with the server's own request."""
    client = Client()
    await client.connect(nats.url)
    for stream in ("inputs", "events"):
        position = int(postgres.sql(f"SELECT position FROM copied WHERE stream = '{stream}'", prefix))
        asked = json.dumps({"seq": position}).encode()
        answer = await client.request(f"$JS.API.STREAM.PURGE.{prefix}-{stream}", asked)
        assert json.loads(answer.data).get("success"), answer.data
    await client.close()


async def test_what_was_pruned_is_read_from_the_archive(
    nats_server: NatsServer, postgres_server: PostgresServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(nats_server, postgres_server, "pruned") as spread:
        ports = spread.ports
        await ports.sorties.create(sortie_record("p"))
        grant = await ports.leases.acquire("p", "one", ttl_s=60.0)
        assert grant is not None
        told = [await ports.inputs.append("p", batch(n)) for n in range(40)]
        await ports.events.append([event("p", n) for n in range(30)], fence=grant.fence)
        await spread.copier.catch_up()
        await prune(nats_server, postgres_server, "pruned")

        monkeypatch.setattr(inputs, "FLOOR_AGAIN_S", 0.0)  # that some seconds have gone by
        again = await ports.inputs.append("p", batch(5))
        assert (again.duplicate, again.offset) == (True, told[5].offset)
        read: list[int] = []
        after = -1
        while entries := await ports.inputs.read("p", after=after):
            read += [one.input.sequence for one in entries if isinstance(one.input, FramesInput)]
            after = entries[-1].offset
        assert read == list(range(40))
        assert [e.sequence for e in await ports.events.read("p", limit=100)] == list(range(30))
        assert await ports.events.current_run("p") == "run-1"
        assert await ports.events.append([event("p", n) for n in range(28, 33)], fence=grant.fence) == 3
        assert [e.sequence for e in await ports.events.read("p", after=27)] == list(range(28, 33))
        fresh = await ports.inputs.append("p", batch(40))
        assert fresh.offset > told[-1].offset
        await spread.copier.catch_up()
        assert (await ports.frames.extent("p")).frames == 123
    async with opened(nats_server, postgres_server, "pruned") as spread:
        again = await spread.ports.inputs.append("p", batch(5))
        assert (again.duplicate, again.offset) == (True, told[5].offset)
