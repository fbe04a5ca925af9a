"""Tokens in PostgreSQL."""

from __future__ import annotations

from spinfloor.adapters.postgres.database import Database, without_nul
from spinfloor.adapters.postgres.remembered import Remembered
from spinfloor.adapters.rows import TOKEN_COLUMNS, token_of
from spinfloor.ports.tokens import TokenRecord


class PostgresTokens:
    """TokenStore."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._remembered: Remembered[str, TokenRecord | None] = Remembered()

    async def put(self, record: TokenRecord) -> None:
        """See TokenStore."""
        async with self._database.transaction("storing a token") as connection:
            await connection.execute(
                f"INSERT INTO tokens ({TOKEN_COLUMNS}) VALUES ($1, $2, $3, $4, $5, $6, $7) ON CONFLICT (id) DO UPDATE SET"
                " name = excluded.name, role = excluded.role, hash_hex = excluded.hash_hex,"
                " created_ns = excluded.created_ns, expires_ns = excluded.expires_ns, revoked_ns = excluded.revoked_ns",
                record.id,
                without_nul(record.name),
                record.role.value,
                record.hash_hex,
                record.created_ns,
                record.expires_ns,
                record.revoked_ns,
            )
        self._remembered.keep(record.id, record)

    async def get(self, token_id: str) -> TokenRecord | None:
        """See TokenStore."""
        return await self._remembered.get(token_id, lambda: self._read(token_id))

    async def _read(self, token_id: str) -> TokenRecord | None:
        rows = await self._database.rows(f"SELECT {TOKEN_COLUMNS} FROM tokens WHERE id = $1", without_nul(token_id))
        return token_of(rows[0]) if rows else None

    async def list_all(self) -> list[TokenRecord]:
        """See TokenStore."""
        rows = await self._database.rows(f"SELECT {TOKEN_COLUMNS} FROM tokens ORDER BY created_ns, id")
        return [token_of(row) for row in rows]
