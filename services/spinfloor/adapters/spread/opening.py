"""Opening both servers."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from spinfloor.adapters.nats import NatsBus, NatsCheckpoints, NatsEvents, NatsInputs, NatsLeases, NatsLink, ServerClock
from spinfloor.adapters.nats.fences import Fences
from spinfloor.adapters.postgres import (
    Database,
    PostgresArchive,
    PostgresAudit,
    PostgresBeliefs,
    PostgresFrames,
    PostgresSessions,
    PostgresSorties,
    PostgresTokens,
)
from spinfloor.adapters.postgres.schema import claim, migrate
from spinfloor.adapters.spread.copier import Copier
from spinfloor.adapters.system_clock import SystemClock
from spinfloor.ports import Clock, Ports


@dataclass(frozen=True, slots=True)
class Spread:
    """The ports, and the copier that fills the archive (run it in the processes that take frames in)."""

    ports: Ports
    copier: Copier


async def open_spread(
    *,
    nats_url: str,
    database_url: str,
    prefix: str = "spinfloor",
    name: str = "spinfloor",
    replicas: int = 1,
    clock: Clock | None = None,
    wait_s: float = 10.0,
) -> Spread:
    """Connect, migrate the database, create the streams. Raises StorageError when a server doesn't answer.

    prefix: letters and digits; begins every stream and subject, so that several programmes may share servers.
    replicas: copies of each stream that the message servers keep (1, 3 or 5).
    clock: this machine's; what is stamped and judged goes by the message server's time, carried on by its steady clock.
    wait_s: how long each server is waited for; later outages are waited out without limit.
    """
    database = await Database.connect(database_url, wait_s=wait_s)
    try:
        await migrate(database)
        await claim(database, prefix)
        archive = PostgresArchive(database)
        first = max(await archive.copied("inputs"), await archive.copied("events")) + 1
        link = await NatsLink.connect(nats_url, prefix=prefix, name=name, wait_s=wait_s)
    except BaseException:
        await database.close()
        raise
    try:
        await link.prepare(first=first, replicas=replicas)
        server_clock = ServerClock(link, clock or SystemClock())
        await server_clock.ask()
    except BaseException:
        await link.close()
        await database.close()
        raise
    return _assemble(link, database, archive, server_clock)


def _assemble(link: NatsLink, database: Database, archive: PostgresArchive, clock: ServerClock) -> Spread:
    fences = Fences(link)
    sorties = PostgresSorties(database)
    inputs = NatsInputs(link, sorties, archive)
    bus = NatsBus(link, clock)
    copier = Copier(link, archive)
    keeping = asyncio.create_task(clock.keep(), name="server-clock")

    async def ready() -> str | None:
        return await link.ready() or await database.ready()

    async def close() -> None:
        keeping.cancel()
        await asyncio.gather(keeping, return_exceptions=True)
        await link.close()
        await database.close()

    def gauges() -> dict[str, float]:
        return {
            "inputs_waiting": inputs.waiting,
            "bus_lost": bus.lost,
            "archive_inputs_behind": copier.behind["inputs"],
            "archive_events_behind": copier.behind["events"],
            "archive_unreadable": copier.unreadable,
        }

    ports = Ports(
        sorties=sorties,
        inputs=inputs,
        frames=PostgresFrames(database),
        events=NatsEvents(link, fences, archive),
        checkpoints=NatsCheckpoints(link, fences),
        leases=NatsLeases(link, fences, clock),
        bus=bus,
        beliefs=PostgresBeliefs(database),
        audit=PostgresAudit(database),
        tokens=PostgresTokens(database),
        sessions=PostgresSessions(database),
        clock=clock,
        ready=ready,
        close=close,
        gauges=gauges,
    )
    return Spread(ports, copier)
