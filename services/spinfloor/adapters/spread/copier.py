"""Copying what the message streams hold into the archive, in order, each position once.

Any number of copiers may run. Each reads the mark in the database (or knows it, having set it), reads the stream behind
it, and stores both what it read and the new mark in one transaction that fails if the mark has moved: so nothing is
copied twice or left out, and a copier that loses the race rests and stands by.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from typing import Final, TypeVar

import structlog

from spinfloor.adapters.nats.connection import NatsLink, Stored
from spinfloor.adapters.nats.events import event_from
from spinfloor.adapters.nats.inputs import input_from
from spinfloor.adapters.nats.subjects import text_of
from spinfloor.adapters.postgres.archive import CopiedEvent, CopiedInput, PostgresArchive
from spinfloor.ports.errors import StorageError

PAGE: Final = 256
REST_S: Final = 1.0
GATHER_S: Final = 0.2  # between pages that are not full: a transaction costs the same whatever is in it

T = TypeVar("T")

_log = structlog.get_logger("spinfloor.archive")


class Copier:
    """Copies inputs and events until cancelled; a server that is away is waited for."""

    def __init__(self, link: NatsLink, archive: PostgresArchive) -> None:
        self._link = link
        self._archive = archive
        self._marks: dict[str, int] = {}  # as this copier left them; none when it can't know
        self.copied = {"inputs": 0, "events": 0}
        self.unreadable = 0
        self.behind = {"inputs": 0, "events": 0}

    async def run(self) -> None:
        """Copy both streams."""
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._keep_copying("inputs", "in", self._store_inputs))
            tasks.create_task(self._keep_copying("events", "ev", self._store_events))

    async def catch_up(self) -> None:
        """Copy what is there now and return."""
        for stream, word, store in (("inputs", "in", self._store_inputs), ("events", "ev", self._store_events)):
            while await self._page(stream, f"{self._link.names.prefix}.{word}.>", store):
                continue

    async def _keep_copying(self, stream: str, word: str, store: _Store) -> None:
        subject = f"{self._link.names.prefix}.{word}.>"
        while True:
            try:
                full = await self._page(stream, subject, store) >= PAGE
            except StorageError as error:
                _log.warning("archive waits", stream=stream, reason=error.sentence)
                await asyncio.sleep(REST_S)
                continue
            if not full:
                await asyncio.sleep(GATHER_S)

    async def _page(self, stream: str, subject: str, store: _Store) -> int:
        """Copy one page; how many messages it held."""
        mark = self._marks.pop(stream, None)
        if mark is None:
            mark = await self._archive.copied(stream)
        page = await self._link.after(stream, subject, mark, PAGE)
        if not page:
            self._marks[stream] = mark
            self.behind[stream] = 0
            return 0
        if not await store(page, mark):
            await asyncio.sleep(REST_S)  # another copier is at work
            return 0
        self._marks[stream] = page[-1].position
        self.copied[stream] += len(page)
        self.behind[stream] = int(page[-1].headers.get("Nats-Num-Pending", "0"))
        return len(page)

    async def _store_inputs(self, page: Sequence[Stored], mark: int) -> bool:
        entries = [entry for one in page if (entry := self._readable(_input_of, one)) is not None]
        return await self._archive.store_inputs(entries, after=mark, up_to=page[-1].position)

    async def _store_events(self, page: Sequence[Stored], mark: int) -> bool:
        entries = [entry for one in page if (entry := self._readable(_event_of, one)) is not None]
        return await self._archive.store_events(entries, after=mark, up_to=page[-1].position)

    def _readable(self, make: Callable[[Stored], T], one: Stored) -> T | None:
        """A message that nobody can read is counted and passed over; it stays in the stream."""
        try:
            return make(one)
        except (KeyError, ValueError, IndexError, TypeError) as error:
            self.unreadable += 1
            _log.error("unreadable message", subject=one.subject, position=one.position, reason=str(error))
            return None


_Store = Callable[[Sequence[Stored], int], Awaitable[bool]]


def _input_of(one: Stored) -> CopiedInput | None:
    sortie, what = one.subject.split(".")[2:4]
    if what == "probe":  # written for the sake of writing
        return None
    return CopiedInput(sortie, one.position, input_from(one.headers, one.data))


def _event_of(one: Stored) -> CopiedEvent | None:
    words = one.subject.split(".")
    sortie, what = words[2], words[3]
    if what == "run":
        return CopiedEvent(sortie, text_of(words[4]), one.position, None)
    if what == "e":
        run = text_of(words[4])
        return CopiedEvent(sortie, run, one.position, event_from(sortie, run, int(words[5]), one.data))
    return None  # a fence
