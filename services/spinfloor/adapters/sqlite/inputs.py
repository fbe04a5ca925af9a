"""The input journal in SQLite, with a short tail in memory so that a live detector never reads the disk."""

from __future__ import annotations

import asyncio
import itertools
import sqlite3
from collections import OrderedDict, deque
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from spinfloor.adapters.paged_frames import damaged
from spinfloor.adapters.sqlite.connection import changed_rows
from spinfloor.adapters.sqlite.reader import Reader
from spinfloor.adapters.sqlite.sorties import sortie_ref
from spinfloor.adapters.sqlite.writer import Writer
from spinfloor.core.errors import SpinfloorError
from spinfloor.ports.inputs import (
    Appended,
    FramesInput,
    Input,
    JournalEntry,
    SourceState,
    span_of,
)
from spinfloor.ports.wire import decode_input, encode_input, identity_of, kind_of

TAIL_ENTRIES: Final = 256
TAIL_FRAMES: Final = 4096
TAILS_HELD: Final = 64  # of the sorties written to last; some half a megabyte each
CHUNK_ENTRIES: Final = 128
ROWS_AT_ONCE: Final = 64  # in one statement; as many statements are kept prepared
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

    def forget(self) -> None:
        """Of a sortie that has gone quiet; whoever follows it reads from disk."""
        self.entries.clear()
        self.frames = 0

    def beyond(self, after: int) -> list[JournalEntry] | None:
        """Entries after an offset, None when memory doesn't reach back that far."""
        if not self.entries or self.entries[0].offset > after + 1:
            return None
        first = max(after + 1 - self.entries[0].offset, 0)
        stop = min(first + CHUNK_ENTRIES, len(self.entries))
        return [self.entries[place] for place in range(first, stop)]

    async def wait(self, after: int) -> None:
        if self.newest <= after:
            waiter = asyncio.get_running_loop().create_future()
            self._waiters.append(waiter)
            await waiter


def _frame_count(entry: Input) -> int:
    return len(entry.block) if isinstance(entry, FramesInput) else 0


def _identity(entry: Input) -> tuple[str | None, int | None]:
    identity = identity_of(entry)
    if identity is None:
        return None, None
    return (_KEY_SOURCE + identity, 0) if isinstance(identity, str) else identity


def _row(entry: Input) -> _Row:
    source, sequence = _identity(entry)
    first_ns, last_ns = span_of(entry)
    body = encode_input(entry)
    return (kind_of(entry), source, sequence, entry.received_ns, first_ns, last_ns, _frame_count(entry), body)


@dataclass(slots=True)
class _Asked:
    """Inputs of one sortie to be appended together."""

    sortie: str
    entries: Sequence[Input]
    rows: list[_Row]
    at: list[int] = field(default_factory=list)  # the sortie's [row number, next offset], once known


class SqliteInputs:
    """`InputJournal`; offsets are 0, 1, 2 ... within a sortie."""

    def __init__(self, writer: Writer, reader: Reader) -> None:
        self._writer = writer
        self._reader = reader
        self._places: dict[str, list[int]] = {}  # sortie -> [ref, next offset]; the writer's thread only
        self._tails: OrderedDict[str, _Tail] = OrderedDict()  # the sortie written to last at the end
        writer.on_rollback(self._places.clear)

    def _place(self, connection: sqlite3.Connection, sortie: str) -> list[int]:
        place = self._places.get(sortie)
        if place is None:
            ref = sortie_ref(connection, sortie)
            newest = connection.execute("SELECT max(position) FROM inputs WHERE sortie = ?", (ref,)).fetchone()[0]
            place = self._places[sortie] = [ref, 0 if newest is None else newest + 1]
        return place

    def _tail(self, sortie: str) -> _Tail:
        tail = self._tails.get(sortie)
        if tail is None:
            tail = self._tails[sortie] = _Tail()
        return tail

    async def append(self, sortie: str, entry: Input) -> Appended:
        """See the port."""
        results: list[Appended] = await self._submit(sortie, (entry,))
        return results[0]

    async def append_all(self, sortie: str, entries: Sequence[Input]) -> list[Appended]:
        """See the port; one transaction."""
        results: list[Appended] = await self._submit(sortie, entries)
        return results

    def _submit(self, sortie: str, entries: Sequence[Input]) -> asyncio.Future[Any]:
        rows = [_row(entry) for entry in entries]
        size = sum([len(row[-1]) for row in rows])
        asked = _Asked(sortie, entries, rows)
        return self._writer.submit_merged(f"in.{sortie}", self._write, asked, size=size, after_commit=self._committed)

    def _committed(self, asked: _Asked, results: list[Appended]) -> None:
        tail = self._tail(asked.sortie)
        self._tails.move_to_end(asked.sortie)
        if len(self._tails) > TAILS_HELD:
            next(itertools.islice(reversed(self._tails.values()), TAILS_HELD, None)).forget()
        for result, entry in zip(results, asked.entries, strict=True):
            if not result.duplicate:
                tail.push(JournalEntry(result.offset, entry))

    def _write(self, connection: sqlite3.Connection, group: list[_Asked]) -> list[list[Appended] | SpinfloorError]:
        """On the writer's thread: all rows of a commit in one statement; one by one when some are there already."""
        refused: dict[int, SpinfloorError] = {}
        for number, asked in enumerate(group):
            try:
                asked.at = self._place(connection, asked.sortie)
            except SpinfloorError as exc:
                refused[number] = exc
        taken = [asked for number, asked in enumerate(group) if number not in refused]
        results = iter(_insert_new(connection, taken) or [_insert_each(connection, asked) for asked in taken])
        return [refused[number] if number in refused else next(results) for number in range(len(group))]

    async def read(self, sortie: str, *, after: int = -1, limit: int = 256) -> list[JournalEntry]:
        """See the port."""
        rows = await self._reader.rows(_READ, (sortie, after, limit))
        return [_entry(row) for row in rows]

    async def follow(self, sortie: str, *, after: int = -1) -> AsyncIterator[list[JournalEntry]]:
        """See the port."""
        tail = self._tail(sortie)
        while True:
            if 0 <= tail.newest <= after:
                await tail.wait(after)
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


def _insert_new(connection: sqlite3.Connection, group: list[_Asked]) -> list[list[Appended]] | None:
    """Every row behind the last of its sortie; None, and nothing written, when one of them is in the journal already."""
    before = [(asked.at, asked.at[1]) for asked in group]
    rows: list[Any] = []
    results = []
    for asked in group:
        ref, following = asked.at
        rows += [(ref, position, *row) for position, row in enumerate(asked.rows, start=following)]
        results.append([Appended(following + n, False) for n in range(len(asked.rows))])
        asked.at[1] += len(asked.rows)
    connection.execute("SAVEPOINT together")
    all_new = _insert_rows(connection, rows) == len(rows)
    if not all_new:
        connection.execute("ROLLBACK TO together")
        for place, following in before:
            place[1] = following
    connection.execute("RELEASE together")
    return results if all_new else None


def _insert_rows(connection: sqlite3.Connection, rows: list[Any]) -> int:
    """How many were new."""
    count = 0
    for first in range(0, len(rows), ROWS_AT_ONCE):
        some = rows[first : first + ROWS_AT_ONCE]
        sql = f"{_INSERT} {','.join([_VALUES] * len(some))} {_KNOWN}"
        count += changed_rows(connection, sql, [value for row in some for value in row])
    return count


def _insert_each(connection: sqlite3.Connection, asked: _Asked) -> list[Appended]:
    return [_put(connection, asked.at, row) for row in asked.rows]


def _put(connection: sqlite3.Connection, place: list[int], row: _Row) -> Appended:
    """place: the sortie's row number and its next offset, which moves on."""
    if _insert_rows(connection, [(*place, *row)]):
        place[1] += 1
        return Appended(place[1] - 1, False)
    there = connection.execute(_FIND, (place[0], row[1], row[2])).fetchone()
    return Appended(there[0], True)


def _entry(row: Any) -> JournalEntry:
    position, source, sequence, received_ns, body = row
    key = None
    if isinstance(source, str) and source.startswith(_KEY_SOURCE):
        key = source[len(_KEY_SOURCE) :]
    try:
        entry = decode_input(body, received_ns=received_ns, source=source or "", sequence=sequence or 0, key=key)
    except ValueError as exc:
        raise damaged(exc) from exc
    return JournalEntry(position, entry)


_INSERT: Final = """
    INSERT INTO inputs (sortie, position, kind, source, sequence, received_ns, first_ns, last_ns, rows, body) VALUES"""
_VALUES: Final = "(?,?,?,?,?,?,?,?,?,?)"
_KNOWN: Final = "ON CONFLICT (sortie, source, sequence) WHERE source IS NOT NULL DO NOTHING"
_FIND: Final = "SELECT position FROM inputs WHERE sortie = ? AND source = ? AND sequence = ?"
_OF: Final = "(SELECT ref FROM sorties WHERE id = ?)"
_READ: Final = f"""
    SELECT position, source, sequence, received_ns, body FROM inputs
    WHERE sortie = {_OF} AND position > ? ORDER BY position LIMIT ?"""
_NEWEST: Final = f"SELECT max(position) FROM inputs WHERE sortie = {_OF}"
_SOURCES: Final = f"""
    SELECT source, max(sequence), count(*), sum(rows), max(last_ns) FROM inputs
    WHERE sortie = {_OF} AND kind = 0 GROUP BY source ORDER BY source"""
