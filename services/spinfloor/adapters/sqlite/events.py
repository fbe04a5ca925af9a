"""The event journal in SQLite."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Sequence
from typing import Any, Final

import orjson

from spinfloor.adapters.reruns import check_rerun
from spinfloor.adapters.sqlite.fences import check_fence
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.sorties import sortie_ref
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.core.events import Event, Kind
from spinfloor.ports.errors import EventDivergedError
from spinfloor.ports.events import check_following, event_diverged

_Row = tuple[str, int, int, bytes]


def run_ref(connection: sqlite3.Connection, sortie: str, run: str) -> int:
    """The row number of a run, which becomes the current one when it is new."""
    ref = sortie_ref(connection, sortie)
    row = connection.execute("SELECT ref FROM runs WHERE sortie = ? AND run = ?", (ref, run)).fetchone()
    if row is not None:
        return int(row[0])
    made = connection.execute(
        "INSERT INTO runs (sortie, run, opened) VALUES (?, ?, (SELECT coalesce(max(opened), -1) + 1 FROM runs))",
        (ref, run),
    )
    return int(made.lastrowid or 0)


def _row(event: Event) -> _Row:
    return (event.kind.value, event.time_ns, event.detected_ns, orjson.dumps(dict(event.data)))


class SqliteEvents:
    """`EventJournal`."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader
        self._places: dict[tuple[str, str], list[int]] = {}  # (sortie, run) -> [ref, next]; the writer's thread only
        writer.on_rollback(self._places.clear)

    def _place(self, connection: sqlite3.Connection, sortie: str, run: str) -> list[int]:
        place = self._places.get((sortie, run))
        if place is None:
            ref = run_ref(connection, sortie, run)
            newest = connection.execute("SELECT max(sequence) FROM events WHERE run = ?", (ref,)).fetchone()[0]
            place = self._places[(sortie, run)] = [ref, 0 if newest is None else newest + 1]
        return place

    async def append(self, events: Sequence[Event], *, fence: int) -> int:
        """See the port."""
        if not events:
            return 0
        sortie, run = events[0].sortie, events[0].run
        rows = [(event.sequence, *_row(event)) for event in events]

        def write(connection: sqlite3.Connection) -> int:
            check_fence(connection, sortie, fence)
            place = self._place(connection, sortie, run)
            known = [row for row in rows if row[0] < place[1]]
            new = rows[len(known) :]
            _check_known(connection, place[0], known)
            check_following([row[0] for row in new], place[1])
            connection.executemany(_INSERT, [(place[0], *row) for row in new])
            place[1] += len(new)
            return len(new)

        return await self._writer.submit(f"ev.{sortie}", write, size=256 * len(rows), bounded=False)

    async def open_run(self, sortie: str, run: str, *, fence: int) -> None:
        """See the port."""

        def write(connection: sqlite3.Connection) -> None:
            check_fence(connection, sortie, fence)
            ref = run_ref(connection, sortie, run)
            connection.execute("UPDATE runs SET opened = (SELECT max(opened) + 1 FROM runs) WHERE ref = ?", (ref,))

        await self._writer.submit(f"ev.{sortie}", write, bounded=False)

    async def add_rerun(self, sortie: str, run: str, events: Sequence[Event]) -> int:
        """See the port. All in one transaction; a rerun's `opened` is -1, so that it is never the current run."""
        check_rerun(run, events)
        rows = [(event.sequence, *_row(event)) for event in events]

        def write(connection: sqlite3.Connection) -> int:
            ref = sortie_ref(connection, sortie)
            there = connection.execute("SELECT ref FROM runs WHERE sortie = ? AND run = ?", (ref, run)).fetchone()
            if there is not None:
                _check_known(connection, there[0], rows)
                _check_count(connection, there[0], len(rows))
                return 0
            made = connection.execute("INSERT INTO runs (sortie, run, opened) VALUES (?, ?, -1)", (ref, run))
            connection.executemany(_INSERT, [(made.lastrowid, *row) for row in rows])
            return len(rows)

        return await self._writer.submit(f"rerun.{sortie}", write, size=256 * len(rows))

    async def read(
        self,
        sortie: str,
        *,
        run: str | None = None,
        after: int = -1,
        kinds: Collection[str] | None = None,
        limit: int = 1000,
    ) -> list[Event]:
        """See the port."""
        run = run if run is not None else await self.current_run(sortie)
        if run is None:
            return []
        wanted = sorted(kinds) if kinds is not None else []
        filtered = f"AND kind IN ({','.join('?' * len(wanted))})" if kinds is not None else ""
        sql = f"{_SELECT} {_FROM} AND sequence > ? {filtered} ORDER BY sequence LIMIT ?"
        rows = await self._reader.rows(sql, (sortie, run, after, *wanted, limit))
        return [_event(sortie, run, row) for row in rows]

    async def next_sequence(self, sortie: str, run: str) -> int:
        """See the port."""
        newest = (await self._reader.rows(f"SELECT max(sequence) {_FROM}", (sortie, run)))[0][0]
        return 0 if newest is None else int(newest) + 1

    async def current_run(self, sortie: str) -> str | None:
        """See the port."""
        sql = f"SELECT run FROM runs WHERE {_OF_SORTIE} AND opened >= 0 ORDER BY opened DESC, ref DESC LIMIT 1"
        rows = await self._reader.rows(sql, (sortie,))
        return rows[0][0] if rows else None

    async def runs(self, sortie: str) -> list[str]:
        """See the port."""
        sql = f"SELECT run FROM runs WHERE {_OF_SORTIE} ORDER BY opened < 0, opened, ref"
        return [row[0] for row in await self._reader.rows(sql, (sortie,))]


def _event(sortie: str, run: str, row: Any) -> Event:
    sequence, kind, time_ns, detected_ns, data = row
    return Event(sortie, run, sequence, Kind(kind), time_ns, detected_ns, orjson.loads(data))


def _check_known(connection: sqlite3.Connection, ref: int, rows: list[tuple[Any, ...]]) -> None:
    for row in rows:
        there = connection.execute(_ONE, (ref, row[0])).fetchone()
        if there != row[1:]:
            raise event_diverged(row[0])


def _check_count(connection: sqlite3.Connection, ref: int, count: int) -> None:
    there = connection.execute("SELECT count(*) FROM events WHERE run = ?", (ref,)).fetchone()[0]
    if there != count:
        raise EventDivergedError(
            expected=f"the {there} events that the journal holds of the rerun",
            got=f"{count}",
            now="nothing was written; the journal's events stand",
        )


_OF_SORTIE: Final = "sortie = (SELECT ref FROM sorties WHERE id = ?)"
_SELECT: Final = "SELECT sequence, kind, time_ns, detected_ns, data"
_FROM: Final = """
    FROM events WHERE run = (SELECT runs.ref FROM runs JOIN sorties ON sorties.ref = runs.sortie
    WHERE sorties.id = ? AND runs.run = ?)"""
_ONE: Final = "SELECT kind, time_ns, detected_ns, data FROM events WHERE run = ? AND sequence = ?"
_INSERT: Final = "INSERT INTO events (run, sequence, kind, time_ns, detected_ns, data) VALUES (?, ?, ?, ?, ?, ?)"
