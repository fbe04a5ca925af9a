"""Saved detectors in SQLite: the newest of each run."""

from __future__ import annotations

import sqlite3

from spinfloor.adapters.sqlite.events import run_ref
from spinfloor.adapters.sqlite.fences import check_fence
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.ports.checkpoints import Checkpoint


class SqliteCheckpoints:
    """`CheckpointStore`."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader

    async def save(self, checkpoint: Checkpoint, *, fence: int) -> None:
        """See the port."""

        def write(connection: sqlite3.Connection) -> None:
            check_fence(connection, checkpoint.sortie, fence)
            connection.execute(
                """INSERT INTO checkpoints VALUES (?, ?, ?, ?, ?) ON CONFLICT (run) DO UPDATE SET
                position = excluded.position, next_sequence = excluded.next_sequence, data = excluded.data,
                memo = excluded.memo WHERE excluded.position >= checkpoints.position""",
                (
                    run_ref(connection, checkpoint.sortie, checkpoint.run),
                    checkpoint.offset,
                    checkpoint.next_sequence,
                    checkpoint.data,
                    checkpoint.memo,
                ),
            )

        await self._writer.submit(f"ev.{checkpoint.sortie}", write, size=len(checkpoint.data), bounded=False)

    async def newest(self, sortie: str, run: str | None = None) -> Checkpoint | None:
        """See the port."""
        of_run = "AND runs.run = ?" if run is not None else ""
        rows = await self._reader.rows(
            f"""SELECT sorties.id, runs.run, position, next_sequence, data, memo FROM checkpoints
            JOIN runs ON runs.ref = checkpoints.run JOIN sorties ON sorties.ref = runs.sortie
            WHERE sorties.id = ? {of_run} ORDER BY position DESC, runs.opened DESC LIMIT 1""",
            (sortie,) if run is None else (sortie, run),
        )
        return Checkpoint(*rows[0]) if rows else None
