"""Browser sessions in PostgreSQL: opened at one screen process, known to all."""

from __future__ import annotations

from spinfloor.adapters.postgres.database import Database
from spinfloor.adapters.postgres.remembered import Remembered
from spinfloor.adapters.rows import SESSION_COLUMNS
from spinfloor.ports.sessions import SessionRecord


class PostgresSessions:
    """SessionStore."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._remembered: Remembered[str, SessionRecord | None] = Remembered()

    async def put(self, record: SessionRecord) -> None:
        """See SessionStore."""
        async with self._database.transaction("keeping a session") as connection:
            await connection.execute(
                "INSERT INTO sessions VALUES ($1, $2, $3, $4) ON CONFLICT (hash_hex) DO UPDATE SET"
                " token_id = excluded.token_id, created_ns = excluded.created_ns, expires_ns = excluded.expires_ns",
                record.hash_hex,
                record.token_id,
                record.created_ns,
                record.expires_ns,
            )
        self._remembered.keep(record.hash_hex, record)

    async def get(self, hash_hex: str) -> SessionRecord | None:
        """See SessionStore."""
        return await self._remembered.get(hash_hex, lambda: self._read(hash_hex))

    async def _read(self, hash_hex: str) -> SessionRecord | None:
        rows = await self._database.rows(f"SELECT {SESSION_COLUMNS} FROM sessions WHERE hash_hex = $1", hash_hex)
        return SessionRecord(*rows[0]) if rows else None

    async def remove(self, hash_hex: str) -> None:
        """See SessionStore."""
        async with self._database.transaction("ending a session") as connection:
            await connection.execute("DELETE FROM sessions WHERE hash_hex = $1", hash_hex)
        self._remembered.forget(hash_hex)

    async def sweep(self, now_ns: int) -> int:
        """See SessionStore."""
        async with self._database.transaction("sweeping sessions") as connection:
            await connection.execute("DELETE FROM sessions WHERE expires_ns < $1", now_ns)
            return int(await connection.fetchval("SELECT count(*) FROM sessions"))
