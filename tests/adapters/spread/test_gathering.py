"""Inputs that wait for a busy disk go to it together: each once, in its sortie's order, told apart when one was there already."""

from __future__ import annotations

import asyncio
import json

import pytest
from tests.adapters.spread.test_restarts import opened
from tests.ports.contract.sides import batch, sortie_record
from tests.servers.processes import NatsServer, PostgresServer
from tests.waiting import insist

from spinfloor.adapters.nats import NatsInputs, NatsLink
from spinfloor.adapters.nats.gathering import APART_AT_MOST
from spinfloor.ports import FramesInput, Ports

pytestmark = pytest.mark.servers

SORTIES = 12
BATCHES = 40


async def flood(ports: Ports, sorties: list[str]) -> dict[str, list[int]]:
    """A source for each, all at once; the offsets they are told."""

    async def one(sortie: str) -> list[int]:
        told = await asyncio.gather(*(ports.inputs.append(sortie, batch(n, n=2)) for n in range(BATCHES)))
        return [appended.offset for appended in told]

    return dict(zip(sorties, await asyncio.gather(*(one(sortie) for sortie in sorties)), strict=True))


async def check(ports: Ports, told: dict[str, list[int]]) -> None:
    for sortie, offsets in told.items():
        there = await ports.inputs.read(sortie, limit=1000)
        assert [one.input.sequence for one in there if isinstance(one.input, FramesInput)] == list(range(BATCHES))
        assert [one.offset for one in there] == offsets


async def test_many_at_once_are_stored_together_in_order(
    nats_server: NatsServer, postgres_server: PostgresServer
) -> None:
    async with opened(nats_server, postgres_server, "together") as spread:
        sorties = [f"s{n}" for n in range(SORTIES)]
        for sortie in sorties:
            await spread.ports.sorties.create(sortie_record(sortie))
        told = await flood(spread.ports, sorties)
        assert isinstance(spread.ports.inputs, NatsInputs)
        assert spread.ports.inputs.stored_together > SORTIES * BATCHES / 2
        await check(spread.ports, told)
        everything = sorted(offset for offsets in told.values() for offset in offsets)
        assert everything == list(range(everything[0], everything[0] + SORTIES * BATCHES))


async def test_what_was_there_already_is_told_so_and_the_rest_is_taken(
    nats_server: NatsServer, postgres_server: PostgresServer
) -> None:
    async with opened(nats_server, postgres_server, "togetheragain") as spread:
        ports = spread.ports
        await ports.sorties.create(sortie_record("s"))
        first = {n: await ports.inputs.append("s", batch(n, n=2)) for n in (3, 20)}
        many = [*range(BATCHES), 7]
        told = await asyncio.gather(*(ports.inputs.append("s", batch(n, n=2)) for n in many))
        assert [n for n, one in zip(many, told, strict=True) if one.duplicate] == [3, 20, 7]
        assert (told[3].offset, told[20].offset) == (first[3].offset, first[20].offset)
        assert told[-1].offset == told[7].offset
        there = await ports.inputs.read("s", limit=1000)
        rest = [n for n in range(BATCHES) if n not in (3, 20)]
        assert [one.input.sequence for one in there if isinstance(one.input, FramesInput)] == [3, 20, *rest]


async def test_a_line_that_breaks_under_many_loses_nothing_acknowledged(
    own_nats: NatsServer, postgres_server: PostgresServer
) -> None:
    async with opened(own_nats, postgres_server, "togethercut") as spread:
        ports = spread.ports
        sorties = [f"s{n}" for n in range(SORTIES)]
        for sortie in sorties:
            await ports.sorties.create(sortie_record(sortie))

        async def one(sortie: str, n: int) -> int:
            return (await insist(lambda: ports.inputs.append(sortie, batch(n, n=2)))).offset

        sending = [asyncio.create_task(one(sortie, n)) for sortie in sorties for n in range(BATCHES)]
        await asyncio.wait(sending, return_when=asyncio.FIRST_COMPLETED)
        await asyncio.to_thread(own_nats.stop)
        await asyncio.to_thread(own_nats.start)
        told = await asyncio.gather(*sending)
        there = [(one.offset, s) for s in sorties for one in await ports.inputs.read(s, limit=1000)]
        assert sorted(offset for offset, _ in there) == sorted(told)
        assert len(there) == SORTIES * BATCHES


async def test_streams_of_an_older_version_learn_it(nats_server: NatsServer, postgres_server: PostgresServer) -> None:
    link = await NatsLink.connect(nats_server.url, prefix="older")
    config = {"name": "older-inputs", "subjects": ["older.in.>"], "storage": "file", "allow_direct": True}
    made = await link.client.request("$JS.API.STREAM.CREATE.older-inputs", json.dumps(config).encode())
    assert "error" not in json.loads(made.data)
    await link.close()
    async with opened(nats_server, postgres_server, "older") as spread:
        await spread.ports.sorties.create(sortie_record("s"))
        told = await flood(spread.ports, ["s"])
        assert isinstance(spread.ports.inputs, NatsInputs)
        assert spread.ports.inputs.stored_together > APART_AT_MOST
        await check(spread.ports, told)


async def test_a_cancelled_sender_leaves_the_others(nats_server: NatsServer, postgres_server: PostgresServer) -> None:
    async with opened(nats_server, postgres_server, "togetherless") as spread:
        ports = spread.ports
        await ports.sorties.create(sortie_record("s"))
        await ports.inputs.append("s", batch(BATCHES))
        sending = [asyncio.create_task(ports.inputs.append("s", batch(n, n=2))) for n in range(BATCHES)]
        await asyncio.sleep(0)  # all of them have begun
        for task in sending[::2]:
            task.cancel()
        told = await asyncio.gather(*sending, return_exceptions=True)
        assert not [one for one in told[1::2] if isinstance(one, BaseException)]
        again = await asyncio.gather(*(ports.inputs.append("s", batch(n, n=2)) for n in range(BATCHES)))
        assert all(one.duplicate for one in again[1::2])
        assert len(await ports.inputs.read("s", limit=1000)) == BATCHES + 1


async def test_what_is_looked_up_in_the_archive_lets_none_overtake_another(
    nats_server: NatsServer, own_nats: NatsServer, postgres_server: PostgresServer
) -> None:
    """Streams begun anew over an older archive: each input is looked for there first, on whichever connection is free."""
    async with opened(nats_server, postgres_server, "overtaking") as old:
        await old.ports.sorties.create(sortie_record("s"))
        await old.ports.inputs.append("s", batch(0, n=2))
        await old.copier.catch_up()
    async with opened(own_nats, postgres_server, "overtaking") as spread:
        await asyncio.gather(*(spread.ports.inputs.append("s", batch(n, n=2)) for n in range(BATCHES)))
        there = await spread.ports.inputs.read("s", after=1, limit=1000)
        assert [one.input.sequence for one in there if isinstance(one.input, FramesInput)] == list(range(1, BATCHES))
