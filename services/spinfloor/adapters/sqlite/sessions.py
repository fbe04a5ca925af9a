"""Browser sessions in SQLite."""

from __future__ import annotations

import sqlite3

from spinfloor.adapters.rows import SESSION_COLUMNS
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.ports.sessions import SessionRecord


class SqliteSessions:
    """`SessionStore`."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader

    async def put(self, record: SessionRecord) -> None:
        """See the port."""
        row = (record.hash_hex, record.token_id, record.created_ns, record.expires_ns)

        def write(connection: sqlite3.Connection) -> None:
            connection.execute("INSERT OR REPLACE INTO sessions VALUES (?, ?, ?, ?)", row)

        await self._writer.submit("sessions", write, size=256)

    async def get(self, hash_hex: str) -> SessionRecord | None:
        """See the port."""
        sql = f"SELECT {SESSION_COLUMNS} FROM sessions WHERE hash_hex = ?"
        rows = await self._reader.rows(sql, (hash_hex,))
        return SessionRecord(*rows[0]) if rows else None

    async def remove(self, hash_hex: str) -> None:
        """See the port."""

        def write(connection: sqlite3.Connection) -> None:
            connection.execute("DELETE FROM sessions WHERE hash_hex = ?", (hash_hex,))

        await self._writer.submit("sessions", write, size=64)

    async def sweep(self, now_ns: int) -> int:
        """See the port."""

        def write(connection: sqlite3.Connection) -> int:
            connection.execute("DELETE FROM sessions WHERE expires_ns < ?", (now_ns,))
            return int(connection.execute("SELECT count(*) FROM sessions").fetchone()[0])

        return int(await self._writer.submit("sessions", write, size=64))
