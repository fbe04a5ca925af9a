"""The archive of inputs and events: what was copied from the message streams, position by position."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any, Final

import orjson

from spinfloor.adapters.paged_frames import damaged
from spinfloor.adapters.postgres.database import Database, without_nul
from spinfloor.adapters.postgres.reruns import INSERT_EVENT, add_rerun, event_row, reruns
from spinfloor.core.events import Event, Kind
from spinfloor.ports.inputs import FramesInput, Input, JournalEntry, SourceState, span_of
from spinfloor.ports.wire import decode_input, encode_input, identity_of, kind_of


@dataclass(frozen=True, slots=True)
class CopiedInput:
    """An input at its position in the stream."""

    sortie: str
    position: int
    input: Input


@dataclass(frozen=True, slots=True)
class CopiedEvent:
    """An event, or (event None) the opening of a run, at its position in the stream."""

    sortie: str
    run: str
    position: int
    event: Event | None


class PostgresArchive:
    """Writing in order, and reading back."""

    def __init__(self, database: Database) -> None:
        self._database = database

    async def copied(self, stream: str) -> int:
        """Position up to which a stream ("inputs" or "events") has been copied."""
        return int((await self._database.rows("SELECT position FROM copied WHERE stream = $1", stream))[0][0])

    async def store_inputs(self, entries: Sequence[CopiedInput], *, after: int, up_to: int) -> bool:
        """Add inputs and move the mark from `after` to `up_to`, both or neither; False when the mark wasn't there."""
        async with self._database.transaction("archiving inputs") as connection:
            if not await _move(connection, "inputs", after, up_to):
                return False
            await connection.executemany(_INSERT_INPUT, [_input_row(entry) for entry in entries])
            await connection.executemany(_ADD_SOURCE, _source_rows(entries))
        return True

    async def store_events(self, entries: Sequence[CopiedEvent], *, after: int, up_to: int) -> bool:
        """Add events and runs and move the mark, both or neither; False when the mark wasn't there."""
        runs = {(e.sortie, without_nul(e.run)): e.position for e in entries if e.event is None}
        async with self._database.transaction("archiving events") as connection:
            if not await _move(connection, "events", after, up_to):
                return False
            await connection.executemany(_OPEN_RUN, [(*run, position) for run, position in runs.items()])
            await connection.executemany(INSERT_EVENT, [event_row(e.event) for e in entries if e.event is not None])
        return True

    async def inputs_after(self, sortie: str, after: int, below: int, limit: int) -> list[JournalEntry]:
        """See InputArchive."""
        rows = await self._database.rows(_READ_INPUTS, sortie, after, below, limit)
        return [_entry(row) for row in rows]

    async def newest_input(self, sortie: str) -> int:
        """See InputArchive."""
        rows = await self._database.rows("SELECT coalesce(max(position), -1) FROM inputs WHERE sortie = $1", sortie)
        return int(rows[0][0])

    async def find_input(self, sortie: str, entry: Input) -> int | None:
        """See InputArchive."""
        identity = identity_of(entry)
        if isinstance(identity, str):
            rows = await self._database.rows(
                "SELECT position FROM inputs WHERE sortie = $1 AND key = $2", sortie, without_nul(identity)
            )
        elif identity is not None:
            source, sequence = identity
            rows = await self._database.rows(
                "SELECT position FROM inputs WHERE sortie = $1 AND source = $2 AND sequence = $3 AND kind = 0",
                sortie, without_nul(source), sequence,
            )  # fmt: skip
        else:
            rows = []
        return int(rows[0][0]) if rows else None

    async def source_sums(self, sortie: str) -> tuple[int, list[SourceState]]:
        """See InputArchive; the mark and the sums are of one moment."""
        rows = await self._database.rows(_SOURCES, sortie)
        states = [SourceState(*row[1:]) for row in rows if row[1] is not None]
        return int(rows[0][0]), states

    async def events_after(
        self, sortie: str, run: str, after: int, kinds: Collection[str] | None, limit: int
    ) -> list[Event]:
        """See EventArchive."""
        wanted = None if kinds is None else sorted(kinds)
        rows = await self._database.rows(_READ_EVENTS, sortie, without_nul(run), after, wanted, limit)
        return [Event(sortie, run, r[0], Kind(r[1]), r[2], r[3], orjson.loads(r[4])) for r in rows]

    async def next_event(self, sortie: str, run: str) -> int:
        """See EventArchive."""
        rows = await self._database.rows(
            "SELECT coalesce(max(sequence), -1) + 1 FROM events WHERE sortie = $1 AND run = $2",
            sortie, without_nul(run),
        )  # fmt: skip
        return int(rows[0][0])

    async def runs(self, sortie: str) -> list[str]:
        """See EventArchive."""
        rows = await self._database.rows(
            "SELECT run FROM runs WHERE sortie = $1 AND opened > 0 ORDER BY opened", sortie
        )
        return [row[0] for row in rows]

    async def add_rerun(self, sortie: str, run: str, events: Sequence[Event]) -> int:
        """See EventArchive."""
        return await add_rerun(self._database, sortie, run, events)

    async def reruns(self, sortie: str) -> list[str]:
        """See EventArchive."""
        return await reruns(self._database, sortie)


async def _move(connection: Any, stream: str, after: int, up_to: int) -> bool:
    done = await connection.execute(
        "UPDATE copied SET position = $3 WHERE stream = $1 AND position = $2", stream, after, up_to
    )
    return bool(done == "UPDATE 1")


def _entry(row: Any) -> JournalEntry:
    position, source, sequence, key, received_ns, body = row
    try:
        entry = decode_input(body, received_ns=received_ns, source=source or "", sequence=sequence or 0, key=key)
    except ValueError as exc:
        raise damaged(exc) from exc
    return JournalEntry(position, entry)


def _input_row(entry: CopiedInput) -> tuple[object, ...]:
    one = entry.input
    identity = identity_of(one)
    source, sequence = identity if isinstance(identity, tuple) else (None, None)
    key = without_nul(identity) if isinstance(identity, str) else None
    rows = len(one.block) if isinstance(one, FramesInput) else 0
    named = None if source is None else without_nul(source)
    return (entry.sortie, entry.position, kind_of(one), named, sequence, key, one.received_ns, *span_of(one), rows,
            encode_input(one))  # fmt: skip


def _source_rows(entries: Sequence[CopiedInput]) -> list[tuple[object, ...]]:
    return [
        (e.sortie, without_nul(e.input.source), e.input.sequence, len(e.input.block), span_of(e.input)[1])
        for e in entries
        if isinstance(e.input, FramesInput)
    ]


_INSERT_INPUT: Final = (
    "INSERT INTO inputs (sortie, position, kind, source, sequence, key, received_ns, first_ns, last_ns, rows, body)"
    " VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) ON CONFLICT DO NOTHING"
)
_ADD_SOURCE: Final = (
    "INSERT INTO sources AS s (sortie, source, last_sequence, batches, frames, last_time_ns)"
    " VALUES ($1, $2, $3, 1, $4, $5) ON CONFLICT (sortie, source) DO UPDATE SET"
    " last_sequence = greatest(s.last_sequence, excluded.last_sequence), batches = s.batches + 1,"
    " frames = s.frames + excluded.frames, last_time_ns = greatest(s.last_time_ns, excluded.last_time_ns)"
)
_READ_INPUTS: Final = (
    "SELECT position, source, sequence, key, received_ns, body FROM inputs"
    " WHERE sortie = $1 AND position > $2 AND position < $3 ORDER BY position LIMIT $4"
)
_SOURCES: Final = (
    "SELECT c.position, s.source, s.last_sequence, s.batches, s.frames, s.last_time_ns FROM copied c"
    " LEFT JOIN sources s ON s.sortie = $1 WHERE c.stream = 'inputs' ORDER BY s.source"
)
_OPEN_RUN: Final = (
    "INSERT INTO runs (sortie, run, opened) VALUES ($1, $2, $3)"
    " ON CONFLICT (sortie, run) DO UPDATE SET opened = excluded.opened"
)
_READ_EVENTS: Final = (
    "SELECT sequence, kind, time_ns, detected_ns, body FROM events WHERE sortie = $1 AND run = $2 AND sequence > $3"
    " AND ($4::text[] IS NULL OR kind = ANY($4)) ORDER BY sequence LIMIT $5"
)
