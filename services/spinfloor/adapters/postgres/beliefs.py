"""Belief versions in PostgreSQL."""

from __future__ import annotations

from collections.abc import Mapping

from spinfloor.adapters.postgres.database import Database, dumped, without_nul
from spinfloor.adapters.rows import BELIEF_COLUMNS, beliefs_of
from spinfloor.core.events import Json
from spinfloor.ports.beliefs import StoredBeliefs, check_newest


class PostgresBeliefs:
    """BeliefStore."""

    def __init__(self, database: Database) -> None:
        self._database = database

    async def current(self, aircraft: str) -> StoredBeliefs | None:
        """See BeliefStore."""
        rows = await self._database.rows(
            f"SELECT {BELIEF_COLUMNS} FROM beliefs WHERE aircraft = $1 ORDER BY version DESC LIMIT 1",
            without_nul(aircraft),
        )
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
        """See BeliefStore."""
        name, key = without_nul(aircraft), without_nul(cause_key)
        async with self._database.transaction("storing what was learnt") as connection:
            await connection.execute("SELECT pg_advisory_xact_lock(hashtextextended($1, 1))", name)
            there = await connection.fetchrow(
                f"SELECT {BELIEF_COLUMNS} FROM beliefs WHERE aircraft = $1 AND cause_key = $2", name, key
            )
            if there is not None:
                return beliefs_of(there)
            newest = await connection.fetchval(
                "SELECT coalesce(max(version), 0) FROM beliefs WHERE aircraft = $1", name
            )
            check_newest(aircraft, expected_version, newest)
            await connection.execute(
                "INSERT INTO beliefs (aircraft, version, created_ns, cause_key, beliefs, cause)"
                " VALUES ($1, $2, $3, $4, $5, $6)",
                name, newest + 1, created_ns, key, dumped(beliefs), dumped(cause),
            )  # fmt: skip
        return StoredBeliefs(name, newest + 1, created_ns, dict(beliefs), dict(cause))

    async def history(self, aircraft: str) -> list[StoredBeliefs]:
        """See BeliefStore."""
        rows = await self._database.rows(
            f"SELECT {BELIEF_COLUMNS} FROM beliefs WHERE aircraft = $1 ORDER BY version", without_nul(aircraft)
        )
        return [beliefs_of(row) for row in rows]

    async def aircraft(self) -> list[str]:
        """See BeliefStore."""
        names = [row[0] for row in await self._database.rows("SELECT DISTINCT aircraft FROM beliefs")]
        return sorted(names)
