"""The audit log in SQLite."""

from __future__ import annotations

import sqlite3

import orjson

from spinfloor.adapters.rows import AUDIT_COLUMNS, action_of
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.ports.audit import AuditRecord


class SqliteAudit:
    """`AuditLog`."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader

    async def add(self, record: AuditRecord) -> int:
        """See the port."""
        row = (record.at_ns, record.by, record.action, record.sortie, orjson.dumps(dict(record.data)))

        def write(connection: sqlite3.Connection) -> int:
            sql = "INSERT INTO audit (at_ns, actor, action, sortie, data) VALUES (?, ?, ?, ?, ?)"
            return int(connection.execute(sql, row).lastrowid or 0)

        return await self._writer.submit("audit", write, size=512)

    async def read(
        self, *, sortie: str | None = None, after: int = -1, action: str | None = None, limit: int = 1000
    ) -> list[AuditRecord]:
        """See the port."""
        where, parameters = ["position > ?"], [after]
        named: list[object] = []
        for column, value in (("sortie", sortie), ("action", action)):
            if value is not None:
                where.append(f"{column} = ?")
                named.append(value)
        sql = f"""SELECT {AUDIT_COLUMNS} FROM audit
            WHERE {" AND ".join(where)} ORDER BY position LIMIT ?"""
        rows = await self._reader.rows(sql, (*parameters, *named, limit))
        return [action_of(row) for row in rows]
