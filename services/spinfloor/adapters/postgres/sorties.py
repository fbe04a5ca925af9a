"""Sorties in PostgreSQL."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import orjson

from spinfloor.adapters.postgres.database import Database, without_nul
from spinfloor.core.events import Json
from spinfloor.ports.errors import SortieExistsError, UnknownSortieError
from spinfloor.ports.sorties import SortieKind, SortieRecord

_COLUMNS = "id, kind, created_ns, aircraft, plan, beliefs, belief_version, notes"


def unknown_sortie(sortie: str) -> UnknownSortieError:
    """The error for a name nobody has created."""
    return UnknownSortieError(
        expected="the id of a sortie that has been created",
        got=f"the unknown id {sortie!r}",
        now="nothing was done; list the sorties or create it with its plan first",
        sortie=sortie,
    )


def dumped(record: Mapping[str, Json] | None) -> str | None:
    """JSON text for a json column."""
    return None if record is None else orjson.dumps(dict(record)).decode()


def _record(row: Any) -> SortieRecord:
    identity, kind, created_ns, aircraft, plan, beliefs, version, notes = row
    return SortieRecord(
        id=identity,
        kind=SortieKind(kind),
        created_ns=created_ns,
        aircraft=aircraft,
        plan=orjson.loads(plan),
        beliefs=None if beliefs is None else orjson.loads(beliefs),
        belief_version=version,
        notes=orjson.loads(notes),
    )


class PostgresSorties:
    """SortieStore."""

    def __init__(self, database: Database) -> None:
        self._database = database

    async def create(self, record: SortieRecord) -> bool:
        """See SortieStore."""
        async with self._database.transaction("storing a sortie") as connection:
            made = await connection.fetchval(
                f"INSERT INTO sorties ({_COLUMNS}) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)"
                " ON CONFLICT (id) DO NOTHING RETURNING ref",
                record.id,
                record.kind.value,
                record.created_ns,
                without_nul(record.aircraft),
                dumped(record.plan),
                dumped(record.beliefs),
                record.belief_version,
                dumped(record.notes),
            )
            if made is not None:
                return True
            there = _record(await connection.fetchrow(f"SELECT {_COLUMNS} FROM sorties WHERE id = $1", record.id))
        if there.plan == dict(record.plan) and there.kind == record.kind:
            return False
        raise SortieExistsError(
            expected="a new sortie id, or the same plan as before",
            got=f"the id {record.id!r}, which has another plan",
            now="the sortie that was there is unchanged",
            sortie=record.id,
        )

    async def get(self, sortie: str) -> SortieRecord:
        """See SortieStore."""
        rows = await self._database.rows(f"SELECT {_COLUMNS} FROM sorties WHERE id = $1", without_nul(sortie))
        if not rows:
            raise unknown_sortie(sortie)
        return _record(rows[0])

    async def list_all(self, *, limit: int = 1000, aircraft: str | None = None) -> list[SortieRecord]:
        """See SortieStore."""
        rows = await self._database.rows(
            f"SELECT {_COLUMNS} FROM sorties WHERE $1::text IS NULL OR aircraft = $1"
            " ORDER BY created_ns DESC, ref DESC LIMIT $2",
            None if aircraft is None else without_nul(aircraft),
            limit,
        )
        return [_record(row) for row in rows]

    async def note(self, sortie: str, notes: Mapping[str, Json]) -> None:
        """See SortieStore."""
        async with self._database.transaction("noting on a sortie") as connection:
            old = await connection.fetchval("SELECT notes FROM sorties WHERE id = $1 FOR UPDATE", without_nul(sortie))
            if old is None:
                raise unknown_sortie(sortie)
            merged = dumped({**orjson.loads(old), **notes})
            await connection.execute("UPDATE sorties SET notes = $2 WHERE id = $1", without_nul(sortie), merged)
