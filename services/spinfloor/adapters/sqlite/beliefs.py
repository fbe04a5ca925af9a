"""Belief versions in SQLite."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

import orjson

from spinfloor.adapters.rows import BELIEF_COLUMNS, beliefs_of
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.core.events import Json
from spinfloor.ports.beliefs import StoredBeliefs, check_newest


class SqliteBeliefs:
    """`BeliefStore`."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader

    async def current(self, aircraft: str) -> StoredBeliefs | None:
        """See the port."""
        sql = f"SELECT {BELIEF_COLUMNS} FROM beliefs WHERE aircraft = ? ORDER BY version DESC LIMIT 1"
        rows = await self._reader.rows(sql, (aircraft,))
        return beliefs_of(rows[0]) if rows else None

    async def add(
        self,
        aircraft: str,
        *,
        expected_version: int,
        beliefs: Mapping[str, Json],
        cause: Mapping[str, Json],
        cause_key: str,
        created_ns: int,
    ) -> StoredBeliefs:
        """See the port."""

        def write(connection: sqlite3.Connection) -> StoredBeliefs:
            sql = f"SELECT {BELIEF_COLUMNS} FROM beliefs WHERE aircraft = ? AND cause_key = ?"
            there = connection.execute(sql, (aircraft, cause_key)).fetchone()
            if there is not None:
                return beliefs_of(there)
            sql = "SELECT coalesce(max(version), 0) FROM beliefs WHERE aircraft = ?"
            newest = connection.execute(sql, (aircraft,)).fetchone()[0]
            check_newest(aircraft, expected_version, newest)
            made = StoredBeliefs(aircraft, newest + 1, created_ns, dict(beliefs), dict(cause))
            connection.execute(
                "INSERT INTO beliefs (aircraft, version, created_ns, cause_key, beliefs, cause) VALUES (?,?,?,?,?,?)",
                (aircraft, newest + 1, created_ns, cause_key, orjson.dumps(made.beliefs), orjson.dumps(made.cause)),
            )
            return made

        return await self._writer.submit("beliefs", write, size=4096)

    async def history(self, aircraft: str) -> list[StoredBeliefs]:
        """See the port."""
        sql = f"SELECT {BELIEF_COLUMNS} FROM beliefs WHERE aircraft = ? ORDER BY version"
        return [beliefs_of(row) for row in await self._reader.rows(sql, (aircraft,))]

    async def aircraft(self) -> list[str]:
        """See the port."""
        return [row[0] for row in await self._reader.rows("SELECT DISTINCT aircraft FROM beliefs ORDER BY aircraft")]
