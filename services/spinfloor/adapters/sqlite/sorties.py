"""Sorties in SQLite."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

import orjson

from spinfloor.adapters.rows import SORTIE_COLUMNS, same_sortie, sortie_of, unknown_sortie
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.core.events import Json
from spinfloor.ports.sorties import SortieKind, SortieRecord


def sortie_ref(connection: sqlite3.Connection, sortie: str) -> int:
    """The sortie's row number. Raises UnknownSortieError."""
    row = connection.execute("SELECT ref FROM sorties WHERE id = ?", (sortie,)).fetchone()
    if row is None:
        raise unknown_sortie(sortie)
    return int(row[0])


class SqliteSorties:
    """`SortieStore` over the writer and the readers."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader

    async def create(self, record: SortieRecord) -> bool:
        """See the port."""

        def write(connection: sqlite3.Connection) -> bool:
            row = connection.execute(f"SELECT {SORTIE_COLUMNS} FROM sorties WHERE id = ?", (record.id,)).fetchone()
            if row is not None:
                return not same_sortie(sortie_of(row), record)
            connection.execute(
                f"INSERT INTO sorties ({SORTIE_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    record.id,
                    record.kind.value,
                    record.created_ns,
                    record.aircraft,
                    orjson.dumps(dict(record.plan)),
                    None if record.beliefs is None else orjson.dumps(dict(record.beliefs)),
                    record.belief_version,
                    orjson.dumps(dict(record.notes)),
                ),
            )
            return True

        return await self._writer.submit("sorties", write, size=16384)

    async def get(self, sortie: str) -> SortieRecord:
        """See the port."""
        rows = await self._reader.rows(f"SELECT {SORTIE_COLUMNS} FROM sorties WHERE id = ?", (sortie,))
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
        """See the port."""
        asked = (
            ("aircraft = ?", aircraft),
            ("kind = ?", None if kind is None else kind.value),
            ("(created_ns, ref) < (SELECT created_ns, ref FROM sorties WHERE id = ?)", before),
        )
        where = " AND ".join(["true", *(words for words, value in asked if value is not None)])
        sql = f"SELECT {SORTIE_COLUMNS} FROM sorties WHERE {where} ORDER BY created_ns DESC, ref DESC LIMIT ?"
        rows = await self._reader.rows(sql, (*(value for _, value in asked if value is not None), limit))
        return [sortie_of(row) for row in rows]

    async def note(self, sortie: str, notes: Mapping[str, Json]) -> None:
        """See the port."""

        def write(connection: sqlite3.Connection) -> None:
            ref = sortie_ref(connection, sortie)
            old = orjson.loads(connection.execute("SELECT notes FROM sorties WHERE ref = ?", (ref,)).fetchone()[0])
            connection.execute("UPDATE sorties SET notes = ? WHERE ref = ?", (orjson.dumps({**old, **notes}), ref))

        await self._writer.submit("sorties", write, size=1024)
