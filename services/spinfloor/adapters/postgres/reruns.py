"""Runs made aside from the flight, in PostgreSQL; `opened` counts down from -1, so that none is a run of the flight."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import orjson

from spinfloor.adapters.postgres.database import Database, without_nul
from spinfloor.adapters.reruns import check_rerun
from spinfloor.adapters.rows import unknown_sortie
from spinfloor.core.events import Event
from spinfloor.ports.events import event_diverged


async def add_rerun(database: Database, sortie: str, run: str, events: Sequence[Event]) -> int:
    """See EventJournal; one transaction."""
    check_rerun(run, events)
    rows = [event_row(event) for event in events]
    async with database.transaction("storing a rerun") as connection:
        if await connection.fetchval("SELECT 1 FROM sorties WHERE id = $1 FOR UPDATE", sortie) is None:
            raise unknown_sortie(sortie)
        if await connection.fetchval("SELECT 1 FROM runs WHERE sortie = $1 AND run = $2", sortie, without_nul(run)):
            await _compare(connection, sortie, run, rows)
            return 0
        await connection.execute(_OPEN, sortie, without_nul(run))
        await connection.executemany(INSERT_EVENT, rows)
    return len(rows)


async def reruns(database: Database, sortie: str) -> list[str]:
    """Oldest first."""
    sql = "SELECT run FROM runs WHERE sortie = $1 AND opened < 0 ORDER BY opened DESC"
    return [row[0] for row in await database.rows(sql, sortie)]


def event_row(event: Event) -> tuple[object, ...]:
    """The values of INSERT_EVENT."""
    return (event.sortie, without_nul(event.run), event.sequence, event.kind.value, event.time_ns, event.detected_ns,
            orjson.dumps(dict(event.data)))  # fmt: skip


async def _compare(connection: Any, sortie: str, run: str, rows: Sequence[tuple[object, ...]]) -> None:
    there = await connection.fetch(_READ, sortie, without_nul(run))
    mine = [row[2:] for row in rows]
    if [tuple(row) for row in there] != mine:
        places = zip(there, mine, strict=False)
        first = next((i for i, (one, two) in enumerate(places) if tuple(one) != two), min(len(there), len(mine)))
        raise event_diverged(first)


INSERT_EVENT: Final = (
    "INSERT INTO events (sortie, run, sequence, kind, time_ns, detected_ns, body) VALUES ($1, $2, $3, $4, $5, $6, $7)"
    " ON CONFLICT DO NOTHING"
)
_OPEN: Final = (
    "INSERT INTO runs (sortie, run, opened)"
    " SELECT $1, $2, coalesce(min(opened) FILTER (WHERE opened < 0), 0) - 1 FROM runs WHERE sortie = $1"
)
_READ: Final = (
    "SELECT sequence, kind, time_ns, detected_ns, body FROM events WHERE sortie = $1 AND run = $2 ORDER BY sequence"
)
