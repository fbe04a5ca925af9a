"""Leases in SQLite, and the check that keeps out an owner who has lost one."""

from __future__ import annotations

import sqlite3

from spinfloor.adapters.sqlite.connection import changed_rows
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.ports.clock import Clock
from spinfloor.ports.leases import Grant, lease_lost


def check_fence(connection: sqlite3.Connection, sortie: str, fence: int) -> None:
    """Raises LeaseLostError when a higher fence has been granted."""
    row = connection.execute("SELECT fence FROM leases WHERE sortie = ?", (sortie,)).fetchone()
    if row is not None and row[0] > fence:
        raise lease_lost(sortie)


class SqliteLeases:
    """`Leases`."""

    def __init__(self, writer: Writer, clock: Clock) -> None:
        self._writer = writer
        self._clock = clock

    async def acquire(self, sortie: str, owner: str, *, ttl_s: float) -> Grant | None:
        """See the port."""
        now = self._clock.wall_ns()
        expires = now + int(ttl_s * 1e9)

        def write(connection: sqlite3.Connection) -> Grant | None:
            row = connection.execute(
                "SELECT owner, fence, expires_ns FROM leases WHERE sortie = ?", (sortie,)
            ).fetchone()
            if row is not None and row[0] != owner and row[2] > now:
                return None
            fence = 1 if row is None else row[1] + 1
            connection.execute("INSERT OR REPLACE INTO leases VALUES (?, ?, ?, ?)", (sortie, owner, fence, expires))
            return Grant(sortie, owner, fence, expires)

        return await self._writer.submit("leases", write, bounded=False)

    async def renew(self, grant: Grant, *, ttl_s: float) -> Grant:
        """See the port."""
        expires = self._clock.wall_ns() + int(ttl_s * 1e9)

        def write(connection: sqlite3.Connection) -> Grant:
            held = changed_rows(
                connection,
                "UPDATE leases SET expires_ns = ? WHERE sortie = ? AND owner = ? AND fence = ?",
                (expires, grant.sortie, grant.owner, grant.fence),
            )
            if not held:
                raise lease_lost(grant.sortie)
            return Grant(grant.sortie, grant.owner, grant.fence, expires)

        return await self._writer.submit("leases", write, bounded=False)

    async def release(self, grant: Grant) -> None:
        """See the port."""

        def write(connection: sqlite3.Connection) -> None:
            connection.execute(
                "UPDATE leases SET expires_ns = 0 WHERE sortie = ? AND owner = ? AND fence = ?",
                (grant.sortie, grant.owner, grant.fence),
            )

        await self._writer.submit("leases", write, bounded=False)
