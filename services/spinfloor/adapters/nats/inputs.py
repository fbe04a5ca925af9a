"""The input journal in a JetStream stream.

A batch's subject is made of its source and sequence, a mark's of its key, and each is stored only while its subject is
empty: so an identity is stored once, however late it is sent again, and whichever process takes it.
"""

from __future__ import annotations

import time
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import asynccontextmanager
from typing import Final, Protocol

from spinfloor.adapters.nats.connection import EXPECTED_LAST, NatsLink, Stored, WrongLastSequence
from spinfloor.adapters.nats.gathering import Gatherer, Line
from spinfloor.adapters.nats.subjects import text_of, token
from spinfloor.core.errors import SpinfloorError
from spinfloor.ports.errors import OverloadedError, StorageError
from spinfloor.ports.inputs import (
    Appended,
    FramesInput,
    Input,
    JournalEntry,
    SourceState,
    TickInput,
    behind_a_failed_one,
)
from spinfloor.ports.sorties import SortieStore
from spinfloor.ports.wire import decode_input, encode_input, identity_of

WAITING_PER_SORTIE: Final = 64
FLOOR_AGAIN_S: Final = 5.0  # somebody may prune the stream meanwhile
HEADERS_BYTES: Final = 1024  # more than the headers of an input ever take
LOOK_AGAIN_S: Final = 0.5  # what is handed over may get lost with the line; then this is the delay
LOOK_AGAIN_MOST_S: Final = 2.0  # of a sortie that has been quiet for a while


class InputTooLargeError(SpinfloorError):
    """One input is larger than the message servers take in one piece."""

    code = "too-large"
    http_status = 413


class InputArchive(Protocol):
    """What the archive adds: inputs that the stream no longer holds, and sums over what was copied."""

    async def inputs_after(self, sortie: str, after: int, below: int, limit: int) -> list[JournalEntry]:
        """Archived entries with after < offset < below, in order."""
        ...

    async def newest_input(self, sortie: str) -> int:
        """Offset of the newest archived entry, -1 when there is none."""
        ...

    async def find_input(self, sortie: str, entry: Input) -> int | None:
        """Offset of the archived input of the same identity."""
        ...

    async def source_sums(self, sortie: str) -> tuple[int, list[SourceState]]:
        """The offset up to which everything is archived, and the sources' states there."""
        ...


class NatsInputs:
    """InputJournal over the stream of inputs, with the archive behind it."""

    def __init__(self, link: NatsLink, sorties: SortieStore, archive: InputArchive) -> None:
        self._link = link
        self._sorties = sorties
        self._archive = archive
        self._known: set[str] = set()
        self._lines: dict[str, Line] = {}
        self._gatherer = Gatherer(link.store, link.store_together)
        self._floor = 0  # lowest position the stream may still hold, as last heard
        self._floor_asked_s = 0.0

    @property
    def waiting(self) -> int:
        """Unanswered appends, all sorties together."""
        return sum(line.waiting for line in self._lines.values())

    @property
    def stored_together(self) -> int:
        """Inputs that went to the servers' disk with others, since the start."""
        return self._gatherer.together

    async def append(self, sortie: str, entry: Input) -> Appended:
        """See InputJournal."""
        async with self._place(sortie) as line:
            async with line.turn:
                if line.failed:
                    raise behind_a_failed_one()
                await self._check(sortie)
                earlier = await self._archived_before_the_stream(sortie, entry)
            if earlier is not None:
                return Appended(earlier, True)
            return await self._store(line, sortie, entry)

    async def append_all(self, sortie: str, entries: Sequence[Input]) -> list[Appended]:
        """See InputJournal; one message each."""
        return [await self.append(sortie, entry) for entry in entries]

    async def _store(self, line: Line, sortie: str, entry: Input) -> Appended:
        rest, headers = _address(entry)
        subject = self._link.names.inputs(sortie, rest)
        body = encode_input(entry)
        if len(body) + HEADERS_BYTES > self._link.client.max_payload:
            raise _too_large(len(body), self._link.client.max_payload)
        try:
            return Appended(await self._gatherer.store(line, subject, body, headers), False)
        except WrongLastSequence:
            first = await self._link.newest("inputs", subject)
            if first is None:
                raise _vanished(sortie) from None
            return Appended(first.position, True)

    async def _check(self, sortie: str) -> None:
        if sortie not in self._known:
            await self._sorties.get(sortie)
            self._known.add(sortie)

    async def _archived_before_the_stream(self, sortie: str, entry: Input) -> int | None:
        """Only a stream that was begun anew over an older archive, or pruned, makes this look."""
        if identity_of(entry) is None or await self._first_position() <= 1:
            return None
        return await self._archive.find_input(sortie, entry)

    async def _first_position(self) -> int:
        now_s = time.monotonic()
        if not self._floor or now_s - self._floor_asked_s > FLOOR_AGAIN_S:
            self._floor_asked_s = now_s  # the others go on with what is known
            self._floor = await self._link.first_position("inputs")
        return self._floor

    @asynccontextmanager
    async def _place(self, sortie: str) -> AsyncIterator[Line]:
        line = self._lines.setdefault(sortie, Line())
        if line.waiting >= WAITING_PER_SORTIE:
            raise OverloadedError(
                expected=f"at most {WAITING_PER_SORTIE} unanswered inputs of sortie {sortie}",
                got="one more",
                now="it was not taken; send it again after a pause",
                sortie=sortie,
            )
        line.waiting += 1
        try:
            yield line
        except StorageError:
            line.failed = True
            raise
        finally:
            line.waiting -= 1
            if not line.waiting:
                del self._lines[sortie]

    async def read(self, sortie: str, *, after: int = -1, limit: int = 256) -> list[JournalEntry]:
        """See InputJournal."""
        if after < self._floor:
            self._floor = await self._link.first_position("inputs")
        if after + 1 < self._floor and self._floor > 1:
            archived = await self._archive.inputs_after(sortie, after, self._floor, limit)
            if archived:
                return archived
        return await self._stored_after(sortie, after, limit)

    async def _stored_after(self, sortie: str, after: int, limit: int) -> list[JournalEntry]:
        found = await self._link.after("inputs", self._link.names.inputs(sortie), max(after, 0), limit)
        return [JournalEntry(one.position, _input_of(one)) for one in found]

    async def follow(self, sortie: str, *, after: int = -1) -> AsyncIterator[list[JournalEntry]]:
        """See InputJournal."""
        while True:
            while entries := await self.read(sortie, after=after):
                after = entries[-1].offset
                yield entries
            async for entries in self._pushed_after(sortie, after):
                after = entries[-1].offset
                yield entries

    async def _pushed_after(self, sortie: str, after: int) -> AsyncIterator[list[JournalEntry]]:
        """New entries as they are stored, until it is no longer sure that none is missing."""
        async with self._link.pushed("inputs", self._link.names.inputs(sortie), max(after, 0)) as push:
            quiet_s = LOOK_AGAIN_S
            while not push.broken:
                messages = await push.next(quiet_s)
                quiet_s = LOOK_AGAIN_S if messages else min(2.0 * quiet_s, LOOK_AGAIN_MOST_S)
                if messages:
                    yield [JournalEntry(at, input_from(one.headers or {}, one.data)) for at, one in messages]
                    after = messages[-1][0]
                elif not push.broken and await self._stored_after(sortie, after, 1):
                    return  # it should have been handed over

    async def newest_offset(self, sortie: str) -> int:
        """See InputJournal."""
        newest = await self._link.newest("inputs", self._link.names.inputs(sortie))
        if newest is not None:
            return newest.position
        return -1 if await self._first_position() <= 1 else await self._archive.newest_input(sortie)

    async def sources(self, sortie: str) -> list[SourceState]:
        """See InputJournal."""
        position, states = await self._archive.source_sums(sortie)
        sums = {state.source: state for state in states}
        while entries := await self._stored_after(sortie, position, 256):
            position = entries[-1].offset
            for entry in entries:
                if isinstance(entry.input, FramesInput):
                    _add(sums, entry.input)
        return sorted(sums.values(), key=lambda state: state.source)


def _add(sums: dict[str, SourceState], batch: FramesInput) -> None:
    old = sums.get(batch.source) or SourceState(batch.source, -1, 0, 0, 0)
    newest = int(batch.block.time_ns.max()) if len(batch.block) else old.last_time_ns
    sums[batch.source] = SourceState(
        batch.source,
        max(old.last_sequence, batch.sequence),
        old.batches + 1,
        old.frames + len(batch.block),
        newest if not old.frames else max(old.last_time_ns, newest),
    )


def _address(entry: Input) -> tuple[str, dict[str, str]]:
    """Where an input goes below its sortie, and what travels beside it."""
    headers = {"Spinfloor-Received": str(entry.received_ns)}
    if isinstance(entry, FramesInput):
        return f"f.{token(entry.source)}.{entry.sequence}", {
            **headers,
            EXPECTED_LAST: "0",
            "Spinfloor-Source": token(entry.source),
            "Spinfloor-Sequence": str(entry.sequence),
        }
    if isinstance(entry, TickInput):
        return "t", headers
    if entry.key is None:
        return "m", headers
    return f"k.{token(entry.key)}", {**headers, EXPECTED_LAST: "0", "Spinfloor-Key": token(entry.key)}


def _input_of(one: Stored) -> Input:
    return input_from(one.headers, one.data)


def input_from(headers: Mapping[str, str], data: bytes) -> Input:
    """The input that a stored message holds."""
    key = headers.get("Spinfloor-Key")
    return decode_input(
        data,
        received_ns=int(headers["Spinfloor-Received"]),
        source=text_of(headers.get("Spinfloor-Source", "-")),
        sequence=int(headers.get("Spinfloor-Sequence", "-1")),
        key=None if key is None else text_of(key),
    )


def _too_large(size: int, limit: int) -> InputTooLargeError:
    return InputTooLargeError(
        expected=f"a batch of at most {limit - HEADERS_BYTES} bytes in the message servers' form",
        got=f"one of {size}",
        now="nothing was taken; send it in smaller batches",
        limit_bytes=limit,
    )


def _vanished(sortie: str) -> StorageError:
    return StorageError(
        expected=f"an input of sortie {sortie} that the stream says it holds",
        got="nothing there",
        now="it was not taken; send it again",
    )
