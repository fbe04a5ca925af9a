"""The two sets of adapters that the contract is held against, behind one face."""

from __future__ import annotations

import asyncio
import itertools
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from tests.servers.processes import NatsServer, PostgresServer

from spinfloor.adapters.spread import open_spread
from spinfloor.adapters.sqlite import open_store
from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.events import Event, Json, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.ports import FramesInput, Ports, SortieKind, SortieRecord

NUMBERS = itertools.count()
PREFIX = "contract"


@dataclass(frozen=True)
class Side:
    """`settle`: the archive has caught up. `again`: a second process over the same stores."""

    ports: Ports
    settle: Callable[[], Awaitable[None]]

    async def sortie(self, *, aircraft: str = "Rookwing 2", created_ns: int = 1) -> str:
        """A new sortie's id."""
        record = sortie_record(f"s{next(NUMBERS)}", aircraft=aircraft, created_ns=created_ns)
        assert await self.ports.sorties.create(record)
        return record.id


@asynccontextmanager
async def embedded(folder: Path) -> AsyncIterator[Side]:
    """SQLite and the in-process bus."""
    ports = open_store(folder)

    async def settle() -> None:
        return None

    try:
        yield Side(ports, settle)
    finally:
        await ports.close()


@asynccontextmanager
async def spread(nats: NatsServer, postgres: PostgresServer, *, prefix: str = PREFIX) -> AsyncIterator[Side]:
    """PostgreSQL and NATS."""
    database_url = await asyncio.to_thread(postgres.database, prefix)
    opened = await open_spread(nats_url=nats.url, database_url=database_url, prefix=prefix)
    try:
        yield Side(opened.ports, opened.copier.catch_up)
    finally:
        await opened.ports.close()


def sortie_record(identity: str, *, aircraft: str = "Rookwing 2", created_ns: int = 1) -> SortieRecord:
    """A sortie of an invented aircraft; the ports keep the plan without looking into it."""
    plan: dict[str, Json] = {
        "version": 1,
        "title": "stall and spin",
        "floors": {"recovery_ft": 5000.0},
        "ünicode": [None, True, 0.1],
    }
    return SortieRecord(identity, SortieKind.FLIGHT, created_ns, aircraft, plan)


def block(n: int = 3, *, start_ns: int = 1_000, seed: int = 0) -> FrameBlock:
    """Frames with awkward values: denormals, negative zero, missing channels."""
    values = np.random.default_rng(seed).normal(size=(n, CHANNEL_COUNT))
    values[:, 5] = np.nan
    if n > 1:
        values[0, 0], values[0, 1] = 5e-324, -0.0
        values[1, 2] = np.nan
    return FrameBlock(start_ns + 10 * np.arange(n, dtype=np.int64), values)


def batch(sequence: int, *, source: str = "nose boom", n: int = 3, received_ns: int = 7) -> FramesInput:
    """A batch of frames later than that of the sequence before."""
    return FramesInput(source, sequence, received_ns, block(n, start_ns=1_000 * (sequence + 1), seed=sequence))


def event(sortie: str, sequence: int, *, run: str = "run-1", kind: Kind = Kind.PHASE, note: str = "") -> Event:
    """An event with awkward data."""
    data: dict[str, Json] = {"from": "flight", "to": note or "départure", "altitude_ft": 0.1 + sequence, "card": None}
    return Event(sortie, run, sequence, kind, 10 * sequence, 10 * sequence + 1, data)
