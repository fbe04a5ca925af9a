"""The audit log in PostgreSQL."""

from __future__ import annotations

from spinfloor.adapters.postgres.database import Database, dumped, without_nul
from spinfloor.adapters.rows import AUDIT_COLUMNS, action_of
from spinfloor.ports.audit import AuditRecord


class PostgresAudit:
    """AuditLog. Additions take a lock, so that a reader never sees a position before a lower one is there."""

    def __init__(self, database: Database) -> None:
        self._database = database

    async def add(self, record: AuditRecord) -> int:
        """See AuditLog."""
        async with self._database.transaction("storing an action") as connection:
            await connection.execute("LOCK TABLE audit IN EXCLUSIVE MODE")
            position = await connection.fetchval(
                "INSERT INTO audit (position, at_ns, actor, action, sortie, data)"
                " SELECT coalesce(max(position), 0) + 1, $1, $2, $3, $4, $5 FROM audit RETURNING position",
                record.at_ns,
                without_nul(record.by),
                without_nul(record.action),
                None if record.sortie is None else without_nul(record.sortie),
                dumped(record.data),
            )
        return int(position)

    async def read(
        self, *, sortie: str | None = None, after: int = -1, action: str | None = None, limit: int = 1000
    ) -> list[AuditRecord]:
        """See AuditLog."""
        rows = await self._database.rows(
            f"SELECT {AUDIT_COLUMNS} FROM audit WHERE position > $1"
            " AND ($2::text IS NULL OR sortie = $2) AND ($3::text IS NULL OR action = $3) ORDER BY position LIMIT $4",
            after,
            None if sortie is None else without_nul(sortie),
            None if action is None else without_nul(action),
            limit,
        )
        return [action_of(row) for row in rows]
