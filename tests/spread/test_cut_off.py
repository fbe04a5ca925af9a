"""A detector whose network fails without a word and comes back: never two owners, and the same events."""

from __future__ import annotations

import pytest
from tests.servers.processes import NatsServer, PostgresServer
from tests.servers.relay import relay
from tests.spread.flying import MID_SPIN, Flight, assert_same_events, looking, owner_of, owns
from tests.spread.parts import fleet, wait_ready
from tests.waiting import until

pytestmark = [pytest.mark.servers, pytest.mark.timeout(240)]


async def test_cut_off_mid_spin_and_back(nats_server: NatsServer, postgres_server: PostgresServer) -> None:
    database = postgres_server.database("cutoff")
    with relay(nats_server.port) as wire, fleet(nats_server.url, database, "cutoff") as parts:
        ingest = parts.start("ingest")
        behind = parts.start("detect", SPINFLOOR_NATS_URL=f"nats://127.0.0.1:{wire.port}")
        await wait_ready(ingest, behind)
        flight = Flight(ingest.base, "cut")
        await flight.create()
        await flight.send(0, MID_SPIN)
        assert await owner_of([behind], "cut") is behind
        other = parts.start("detect")
        await wait_ready(other)
        assert not owns(other, "cut")

        wire.block()
        await flight.send(MID_SPIN, MID_SPIN + 10)

        async def taken_over() -> bool:
            return owns(other, "cut")

        await until(taken_over, seconds=60.0, what="taking over")
        wire.unblock()
        await flight.send(MID_SPIN + 10)

        async def stood_down() -> bool:
            return "lease" in behind.text()

        await until(stood_down, seconds=60.0, what="the former owner's standing down")
        async with looking(parts) as ports:
            await assert_same_events(ports, "cut")
        assert "diverged" not in behind.text() + other.text()
        assert behind.process.poll() is None
        await flight.close()
