"""Machines whose clocks do not agree: data that comes is never taken for old."""

from __future__ import annotations

import asyncio
import time

import pytest
from tests.servers.processes import NatsServer, PostgresServer
from tests.spread.flying import Flight, assert_same_events
from tests.spread.parts import fleet
from tests.waiting import until

from spinfloor.adapters.spread import Spread, open_spread
from spinfloor.adapters.system_clock import SystemClock
from spinfloor.core.events import Kind
from spinfloor.detect.supervisor import SPREAD_PACE, Supervisor

pytestmark = [pytest.mark.servers, pytest.mark.timeout(240)]

HOUR_NS = 3_600_000_000_000


class SetClock(SystemClock):
    """A machine's clock that somebody has set."""

    off_ns = 0

    def wall_ns(self) -> int:
        return time.time_ns() + self.off_ns


async def opened(nats: NatsServer, database: str, clock: SetClock) -> Spread:
    return await open_spread(nats_url=nats.url, database_url=database, prefix="clocks", clock=clock)


@pytest.mark.parametrize("off_ns", [5_000_000_000, HOUR_NS, -HOUR_NS], ids=["ahead", "far ahead", "behind"])
async def test_a_detector_whose_clock_is_off_or_set_loses_no_data(
    nats_server: NatsServer, postgres_server: PostgresServer, off_ns: int
) -> None:
    database = await asyncio.to_thread(postgres_server.database, "clocks")
    clock = SetClock()
    clock.off_ns = off_ns
    with fleet(nats_server.url, database, "clocks") as parts:
        ingest = parts.start("ingest")
        await asyncio.to_thread(ingest.wait_ready)
        spread = await opened(nats_server, database, clock)
        supervisor = Supervisor(spread.ports, pace=SPREAD_PACE)
        supervisor.warm.set()
        try:
            assert abs(spread.ports.clock.wall_ns() - time.time_ns()) < 100_000_000
            sortie = f"off{off_ns // 1_000_000_000}"
            flight = Flight(ingest.base, sortie)
            await flight.create()
            supervisor.ensure(sortie)
            await flight.send(0, 10)
            clock.off_ns += HOUR_NS  # set while flying
            await flight.send(10)

            async def taken() -> bool:
                runtime = supervisor.running.get(sortie)
                newest = await spread.ports.inputs.newest_offset(sortie)
                return runtime is not None and runtime.offset >= newest

            await until(taken, what="the last batch")
            assert (await supervisor.running[sortie].state())["data_age_s"] < 600.0  # by a clock of its own: an hour
            await assert_same_events(spread.ports, sortie)
            events = await spread.ports.events.read(sortie, limit=1000)
            last = max(n for n, event in enumerate(events) if event.kind is Kind.SPIN_ENDED)
            assert [e.data for e in events[:last] if e.kind is Kind.LINK] == []
            await flight.close()
        finally:
            await supervisor.close()
            await spread.ports.close()
