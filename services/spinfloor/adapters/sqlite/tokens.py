"""Tokens in SQLite."""

from __future__ import annotations

import sqlite3

from spinfloor.adapters.rows import TOKEN_COLUMNS, token_of
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.ports.tokens import TokenRecord


class SqliteTokens:
    """`TokenStore`."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader

    async def put(self, record: TokenRecord) -> None:
        """See the port."""
        row = (
            record.id,
            record.name,
            record.role.value,
            record.hash_hex,
            record.created_ns,
            record.expires_ns,
            record.revoked_ns,
        )

        def write(connection: sqlite3.Connection) -> None:
            connection.execute(f"INSERT OR REPLACE INTO tokens ({TOKEN_COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?)", row)

        await self._writer.submit("tokens", write, size=512)

    async def get(self, token_id: str) -> TokenRecord | None:
        """See the port."""
        rows = await self._reader.rows(f"SELECT {TOKEN_COLUMNS} FROM tokens WHERE id = ?", (token_id,))
        return token_of(rows[0]) if rows else None

    async def list_all(self) -> list[TokenRecord]:
        """See the port."""
        return [
            token_of(r) for r in await self._reader.rows(f"SELECT {TOKEN_COLUMNS} FROM tokens ORDER BY created_ns, id")
        ]
