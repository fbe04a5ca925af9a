"""Sorties in PostgreSQL."""

from __future__ import annotations

from collections.abc import Mapping

import orjson

from spinfloor.adapters.postgres.database import Database, dumped, without_nul
from spinfloor.adapters.postgres.remembered import Remembered
from spinfloor.adapters.rows import SORTIE_COLUMNS, same_sortie, sortie_of, unknown_sortie
from spinfloor.core.events import Json
from spinfloor.ports.sorties import SortieKind, SortieRecord


class PostgresSorties:
    """SortieStore."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._remembered: Remembered[str, SortieRecord] = Remembered()

    async def create(self, record: SortieRecord) -> bool:
        """See SortieStore."""
        async with self._database.transaction("storing a sortie") as connection:
            made = await connection.fetchval(
                f"INSERT INTO sorties ({SORTIE_COLUMNS}) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)"
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
            there = sortie_of(
                await connection.fetchrow(f"SELECT {SORTIE_COLUMNS} FROM sorties WHERE id = $1", record.id)
            )
        return not same_sortie(there, record)

    async def get(self, sortie: str) -> SortieRecord:
        """See SortieStore."""
        return await self._remembered.get(sortie, lambda: self._read(sortie))

    async def _read(self, sortie: str) -> SortieRecord:
        rows = await self._database.rows(f"SELECT {SORTIE_COLUMNS} FROM sorties WHERE id = $1", without_nul(sortie))
        if not rows:
            raise unknown_sortie(sortie)
        return sortie_of(rows[0])

    async def list_all(
        self,
        *,
        limit: int = 1000,
        aircraft: str | None = None,
        kind: SortieKind | None = None,
        before: str | None = None,
    ) -> list[SortieRecord]:
        """See SortieStore."""
        rows = await self._database.rows(
            f"SELECT {SORTIE_COLUMNS} FROM sorties WHERE ($1::text IS NULL OR aircraft = $1)"
            " AND ($2::text IS NULL OR kind = $2) AND ($3::text IS NULL"
            " OR (created_ns, ref) < (SELECT created_ns, ref FROM sorties WHERE id = $3))"
            " ORDER BY created_ns DESC, ref DESC LIMIT $4",
            None if aircraft is None else without_nul(aircraft),
            None if kind is None else kind.value,
            None if before is None else without_nul(before),
            limit,
        )
        return [sortie_of(row) for row in rows]

    async def note(self, sortie: str, notes: Mapping[str, Json]) -> None:
        """See SortieStore."""
        async with self._database.transaction("noting on a sortie") as connection:
            old = await connection.fetchval("SELECT notes FROM sorties WHERE id = $1 FOR UPDATE", without_nul(sortie))
            if old is None:
                raise unknown_sortie(sortie)
            merged = dumped({**orjson.loads(old), **notes})
            await connection.execute("UPDATE sorties SET notes = $2 WHERE id = $1", without_nul(sortie), merged)
