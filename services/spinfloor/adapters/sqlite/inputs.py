"""The input journal in SQLite, with a short tail in memory so that a live detector never reads the disk."""

from __future__ import annotations

import asyncio
import sqlite3
from collections import deque
from collections.abc import AsyncIterator, Sequence
from typing import Any, Final

from spinfloor.adapters.sqlite.connection import storage_error
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.sorties import sortie_ref
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.ports.inputs import Appended, FloorsInput, FramesInput, Input, JournalEntry, SourceState, TickInput
from spinfloor.ports.wire import decode_input, encode_input, identity_of, kind_of

TAIL_ENTRIES: Final = 256
TAIL_FRAMES: Final = 4096
CHUNK_ENTRIES: Final = 128
_KEY_SOURCE: Final = "\x00key:"
_Row = tuple[int, str | None, int | None, int, int, int, int, bytes]


class _Tail:
    """The newest entries of one sortie and whoever waits for more. Touched on the event loop only."""

    def __init__(self) -> None:
        self.entries: deque[JournalEntry] = deque()
        self.frames = 0
        self.newest = -1
        self._waiters: list[asyncio.Future[None]] = []

    def push(self, entry: JournalEntry) -> None:
        self.entries.append(entry)
        self.frames += _frame_count(entry.input)
        self.newest = entry.offset
        while len(self.entries) > TAIL_ENTRIES or (self.frames > TAIL_FRAMES and len(self.entries) > 1):
            self.frames -= _frame_count(self.entries.popleft().input)
        waiters, self._waiters = self._waiters, []
        for waiter in waiters:
            if not waiter.done():
                waiter.set_result(None)

    def beyond(self, after: int) -> list[JournalEntry] | None:
        """Entries after an offset, None when memory doesn't reach back that far."""
        if not self.entries or self.entries[0].offset > after + 1:
            return None
        skip = after + 1 - self.entries[0].offset
        return list(self.entries)[max(skip, 0) :][:CHUNK_ENTRIES]

    async def wait(self, after: int) -> None:
        if self.newest <= after:
            waiter = asyncio.get_running_loop().create_future()
            self._waiters.append(waiter)
            await waiter


def _frame_count(entry: Input) -> int:
    return len(entry.block) if isinstance(entry, FramesInput) else 0


def _span(entry: Input) -> tuple[int, int]:
    match entry:
        case FramesInput():
            times = entry.block.time_ns
            return (int(times.min()), int(times.max())) if len(times) else (0, 0)
        case TickInput() | FloorsInput():
            return entry.time_ns, entry.time_ns
        case _:
            return entry.mark.time_ns, entry.mark.time_ns


def _identity(entry: Input) -> tuple[str | None, int | None]:
    identity = identity_of(entry)
    if identity is None:
        return None, None
    return (_KEY_SOURCE + identity, 0) if isinstance(identity, str) else identity


def _row(entry: Input) -> _Row:
    source, sequence = _identity(entry)
    first_ns, last_ns = _span(entry)
    body = encode_input(entry)
    return (kind_of(entry), source, sequence, entry.received_ns, first_ns, last_ns, _frame_count(entry), body)


def _put(connection: sqlite3.Connection, place: list[int], row: _Row) -> Appended:
    """place: the sortie's row number and its next offset, which moves on."""
    if connection.execute(_INSERT, (place[0], place[1], *row)).rowcount:
        place[1] += 1
        return Appended(place[1] - 1, False)
    there = connection.execute(_FIND, (place[0], row[1], row[2])).fetchone()
    return Appended(there[0], True)


class SqliteInputs:
    """`InputJournal`; offsets are 0, 1, 2 ... within a sortie."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader
        self._places: dict[str, list[int]] = {}  # sortie -> [ref, next offset]; the writer's thread only
        self._tails: dict[str, _Tail] = {}
        writer.on_rollback(self._places.clear)

    def _place(self, connection: sqlite3.Connection, sortie: str) -> list[int]:
        place = self._places.get(sortie)
        if place is None:
            ref = sortie_ref(connection, sortie)
            newest = connection.execute("SELECT max(position) FROM inputs WHERE sortie = ?", (ref,)).fetchone()[0]
            place = self._places[sortie] = [ref, 0 if newest is None else newest + 1]
        return place

    def _tail(self, sortie: str) -> _Tail:
        return self._tails.setdefault(sortie, _Tail())

    async def append(self, sortie: str, entry: Input) -> Appended:
        """See the port."""
        return (await self.append_all(sortie, [entry]))[0]

    async def append_all(self, sortie: str, entries: Sequence[Input]) -> list[Appended]:
        """See the port; one transaction."""
        rows = [_row(entry) for entry in entries]

        def write(connection: sqlite3.Connection) -> list[Appended]:
            place = self._place(connection, sortie)
            return [_put(connection, place, row) for row in rows]

        def committed(results: list[Appended]) -> None:
            for result, entry in zip(results, entries, strict=True):
                if not result.duplicate:
                    self._tail(sortie).push(JournalEntry(result.offset, entry))

        size = sum(len(row[-1]) for row in rows)
        return await self._writer.submit(f"in.{sortie}", write, size=size, after_commit=committed)

    async def read(self, sortie: str, *, after: int = -1, limit: int = 256) -> list[JournalEntry]:
        """See the port."""
        rows = await self._reader.rows(_READ, (sortie, after, limit))
        return [_entry(row) for row in rows]

    async def follow(self, sortie: str, *, after: int = -1) -> AsyncIterator[list[JournalEntry]]:
        """See the port."""
        tail = self._tail(sortie)
        while True:
            entries = tail.beyond(after)
            if entries is None:
                entries = await self.read(sortie, after=after, limit=CHUNK_ENTRIES)
            if entries:
                after = entries[-1].offset
                yield entries
            else:
                await tail.wait(after)

    async def newest_offset(self, sortie: str) -> int:
        """See the port."""
        tail = self._tails.get(sortie)
        if tail is not None and tail.newest >= 0:
            return tail.newest
        newest = (await self._reader.rows(_NEWEST, (sortie,)))[0][0]
        return -1 if newest is None else int(newest)

    async def sources(self, sortie: str) -> list[SourceState]:
        """See the port."""
        return [SourceState(*row) for row in await self._reader.rows(_SOURCES, (sortie,))]

    def forget(self, sortie: str) -> None:
        """Free the memory of a sortie that has gone quiet; followers read it from disk when they need it."""
        tail = self._tail(sortie)
        tail.entries.clear()
        tail.frames = 0


def _entry(row: Any) -> JournalEntry:
    position, source, sequence, received_ns, body = row
    key = None
    if isinstance(source, str) and source.startswith(_KEY_SOURCE):
        key = source[len(_KEY_SOURCE) :]
    try:
        entry = decode_input(body, received_ns=received_ns, source=source or "", sequence=sequence or 0, key=key)
    except ValueError as exc:  # SQLite keeps no checksums: a damaged page may hold a row of the right form
        raise storage_error(exc) from exc
    return JournalEntry(position, entry)


_INSERT: Final = """
    INSERT INTO inputs (sortie, position, kind, source, sequence, received_ns, first_ns, last_ns, rows, body)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (sortie, source, sequence) WHERE source IS NOT NULL DO NOTHING"""
_FIND: Final = "SELECT position FROM inputs WHERE sortie = ? AND source = ? AND sequence = ?"
_OF: Final = "(SELECT ref FROM sorties WHERE id = ?)"
_READ: Final = f"""
    SELECT position, source, sequence, received_ns, body FROM inputs
    WHERE sortie = {_OF} AND position > ? ORDER BY position LIMIT ?"""
_NEWEST: Final = f"SELECT max(position) FROM inputs WHERE sortie = {_OF}"
_SOURCES: Final = f"""
    SELECT source, max(sequence), count(*), sum(rows), max(last_ns) FROM inputs
    WHERE sortie = {_OF} AND kind = 0 GROUP BY source ORDER BY source"""
