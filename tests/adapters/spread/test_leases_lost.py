"""Leases are not on the disk when they are given; what their loss with the message server's machine does."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager

import pytest
from tests.ports.contract.sides import event, sortie_record
from tests.servers.processes import NatsServer, PostgresServer
from tests.waiting import until

from spinfloor.adapters.nats import NatsLink
from spinfloor.adapters.spread import open_spread
from spinfloor.ports import Ports
from spinfloor.ports.errors import LeaseLostError

pytestmark = pytest.mark.servers


@asynccontextmanager
async def detectors(
    nats: NatsServer, postgres: PostgresServer, prefix: str
) -> AsyncIterator[tuple[NatsLink, Ports, Ports]]:
    """Two processes' ports, and a line of our own to the message server."""
    url = await asyncio.to_thread(postgres.database, prefix)
    async with AsyncExitStack() as stack:
        both: list[Ports] = []
        for _ in range(2):
            spread = await open_spread(nats_url=nats.url, database_url=url, prefix=prefix)
            stack.push_async_callback(spread.ports.close)
            both.append(spread.ports)
        link = await NatsLink.connect(nats.url, prefix=prefix)
        stack.push_async_callback(link.client.close)
        yield link, both[0], both[1]


async def test_renewals_wait_for_no_disk(nats_server: NatsServer, postgres_server: PostgresServer) -> None:
    async with detectors(nats_server, postgres_server, "unsynced") as (link, _, _):
        modes = {what: (await link.info(what))["config"].get("persist_mode") for what in ("leases", "events", "inputs")}
    assert modes["leases"] == "async"
    assert {modes["events"], modes["inputs"]} <= {None, "", "default"}


async def test_a_new_owner_is_above_the_old_one_when_all_leases_were_lost(
    nats_server: NatsServer, postgres_server: PostgresServer
) -> None:
    async with detectors(nats_server, postgres_server, "leaseslost") as (link, one, two):
        await one.sorties.create(sortie_record("s"))
        for _ in range(5):
            old = await one.leases.acquire("s", "one", ttl_s=0.1)
        assert old is not None
        await one.events.append([event("s", 0)], fence=old.fence)
        await link.js.delete_stream(link.names.stream("leases"))
        await link.prepare()
        new = await until(lambda: two.leases.acquire("s", "two", ttl_s=30.0), what="a lease of the second")
        assert new is not None
        assert new.fence > old.fence
        new = await two.leases.renew(new, ttl_s=30.0)
        with pytest.raises(LeaseLostError):
            await one.leases.renew(old, ttl_s=30.0)
        with pytest.raises(LeaseLostError):
            await one.events.append([event("s", 1)], fence=old.fence)
        await two.events.append([event("s", 1)], fence=new.fence)
        await two.leases.release(new)
        third = await until(lambda: one.leases.acquire("s", "one", ttl_s=30.0), what="a lease of the first")
        assert third is not None
        assert third.fence > new.fence
