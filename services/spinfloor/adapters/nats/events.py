"""The event journal in a JetStream stream: one message per event, its subject made of sortie, run and sequence."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Protocol

import orjson

from spinfloor.adapters.nats.connection import NatsLink, Stored, WrongLastSequence
from spinfloor.adapters.nats.fences import TRIES, Fences, contended
from spinfloor.adapters.nats.subjects import text_of, token
from spinfloor.core.events import Event, Kind
from spinfloor.ports.events import RERUN_PREFIX, check_following, event_diverged

PAGE = 500


class EventArchive(Protocol):
    """What the archive adds: events that the stream no longer holds."""

    async def events_after(
        self, sortie: str, run: str, after: int, kinds: Collection[str] | None, limit: int
    ) -> list[Event]:
        """Archived events with sequence > after, by sequence."""
        ...

    async def next_event(self, sortie: str, run: str) -> int:
        """One more than the newest archived sequence."""
        ...

    async def runs(self, sortie: str) -> list[str]:
        """Archived runs of the flight, the last opened last."""
        ...

    async def add_rerun(self, sortie: str, run: str, events: Sequence[Event]) -> int:
        """See EventJournal: reruns are kept in the archive alone, away from the subjects that an owner writes to."""
        ...

    async def reruns(self, sortie: str) -> list[str]:
        """Reruns of the sortie, oldest first."""
        ...


class NatsEvents:
    """EventJournal over the stream of events, with the archive behind it."""

    def __init__(self, link: NatsLink, fences: Fences, archive: EventArchive) -> None:
        self._link = link
        self._fences = fences
        self._archive = archive
        self._next: dict[tuple[str, str], int] = {}

    async def append(self, events: Sequence[Event], *, fence: int) -> int:
        """See EventJournal."""
        if not events:
            return 0
        sortie, run = events[0].sortie, events[0].run
        for _ in range(TRIES):
            await self._fences.enter(sortie, fence)
            following = self._next.get((sortie, run))
            if following is None:
                following = await self._begin(sortie, run)
            known = [event for event in events if event.sequence < following]
            new = events[len(known) :]
            await self._check_known(sortie, run, known)
            check_following([event.sequence for event in new], following)
            if await self._write(sortie, run, new):
                return len(new)
        raise contended(sortie)

    async def _write(self, sortie: str, run: str, events: Sequence[Event]) -> bool:
        """False: somebody (or an unanswered try of our own) has written in between; look again."""
        for event in events:
            try:
                await self._fences.write(sortie, f"e.{token(run)}.{event.sequence}", _encode(event))
            except WrongLastSequence:
                self._next.pop((sortie, run), None)
                return False
            except BaseException:  # a cut line or a cancelled wait: whether it was stored is not known
                self._next.pop((sortie, run), None)
                self._fences.forget(sortie)
                raise
            self._next[(sortie, run)] = event.sequence + 1
        return True

    async def _begin(self, sortie: str, run: str) -> int:
        """Where the run goes on; a run without an event is opened, so that it is listed."""
        following = await self.next_sequence(sortie, run)
        if following == 0 and run not in await self._flown(sortie):
            try:
                await self._fences.write(sortie, f"run.{token(run)}", b"")
            except WrongLastSequence:
                return await self._begin(sortie, run)
        self._next[(sortie, run)] = following
        return following

    async def _check_known(self, sortie: str, run: str, events: Sequence[Event]) -> None:
        if not events:
            return
        there = await self.read(sortie, run=run, after=events[0].sequence - 1, limit=len(events))
        for mine, theirs in zip(events, there, strict=False):
            if _encode(mine) != _encode(theirs) or mine.sequence != theirs.sequence:
                raise event_diverged(mine.sequence)

    async def read(
        self,
        sortie: str,
        *,
        run: str | None = None,
        after: int = -1,
        kinds: Collection[str] | None = None,
        limit: int = 1000,
    ) -> list[Event]:
        """See EventJournal."""
        run = run if run is not None else await self.current_run(sortie)
        if run is None:
            return []
        if run.startswith(RERUN_PREFIX):
            return await self._archive.events_after(sortie, run, after, kinds, limit)
        position = await self._position_of(sortie, run, after)
        found: list[Event] = []
        if position is None:
            found += await self._archive.events_after(sortie, run, after, kinds, limit)
            after, position = max(after, await self._archive.next_event(sortie, run) - 1), 0
        size = min(limit, PAGE) if kinds is None else PAGE
        while len(found) < limit:
            page = await self._link.after(
                "events", self._link.names.events(sortie, f"e.{token(run)}.*"), position, size
            )
            if not page:
                break
            position = page[-1].position
            events = (_event(sortie, run, one) for one in page)
            found += [e for e in events if e.sequence > after and (kinds is None or e.kind.value in kinds)]
        return found[:limit]

    async def _position_of(self, sortie: str, run: str, after: int) -> int | None:
        """Position of the event `after`; None when the stream doesn't hold the one that follows but the archive may."""
        names = self._link.names
        if after >= 0:
            there = await self._link.newest("events", names.events(sortie, f"e.{token(run)}.{after}"))
            if there is not None:
                return there.position
        first = await self._link.newest("events", names.events(sortie, f"e.{token(run)}.{after + 1}"))
        if first is not None:
            return first.position - 1
        return None if await self._older() else 0

    async def _older(self) -> bool:
        """Whether the archive may hold what the stream doesn't (pruned, or begun anew over a restored archive)."""
        return await self._link.first_position("events") > 1

    async def next_sequence(self, sortie: str, run: str) -> int:
        """See EventJournal."""
        if run.startswith(RERUN_PREFIX):
            return await self._archive.next_event(sortie, run)
        newest = await self._link.newest("events", self._link.names.events(sortie, f"e.{token(run)}.*"))
        if newest is not None:
            return int(newest.subject.rpartition(".")[2]) + 1
        return await self._archive.next_event(sortie, run) if await self._older() else 0

    async def current_run(self, sortie: str) -> str | None:
        """See EventJournal."""
        newest = await self._link.newest("events", self._link.names.events(sortie, "run.*"))
        if newest is not None:
            return text_of(newest.subject.rpartition(".")[2])
        runs = await self._archive.runs(sortie) if await self._older() else []
        return runs[-1] if runs else None

    async def open_run(self, sortie: str, run: str, *, fence: int) -> None:
        """See EventJournal."""
        for _ in range(TRIES):
            await self._fences.enter(sortie, fence)
            try:
                await self._fences.write(sortie, f"run.{token(run)}", b"")
            except WrongLastSequence:
                continue
            return
        raise contended(sortie)

    async def add_rerun(self, sortie: str, run: str, events: Sequence[Event]) -> int:
        """See EventJournal."""
        return await self._archive.add_rerun(sortie, run, events)

    async def runs(self, sortie: str) -> list[str]:
        """See EventJournal."""
        return [*await self._flown(sortie), *await self._archive.reruns(sortie)]

    async def _flown(self, sortie: str) -> list[str]:
        """Runs of the flight; asks the archive only for what the stream may not hold."""
        opened = dict.fromkeys(await self._archive.runs(sortie) if await self._older() else ())
        position = 0
        while page := await self._link.after("events", self._link.names.events(sortie, "run.*"), position, PAGE):
            position = page[-1].position
            for one in page:
                run = text_of(one.subject.rpartition(".")[2])
                opened.pop(run, None)  # opened again: it is the newest now
                opened[run] = None
        return list(opened)


def _encode(event: Event) -> bytes:
    return orjson.dumps(
        {"kind": event.kind.value, "time_ns": event.time_ns, "detected_ns": event.detected_ns, "data": dict(event.data)}
    )


def _event(sortie: str, run: str, one: Stored) -> Event:
    return event_from(sortie, run, int(one.subject.rpartition(".")[2]), one.data)


def event_from(sortie: str, run: str, sequence: int, data: bytes) -> Event:
    """The event that a stored message holds."""
    record = orjson.loads(data)
    return Event(sortie, run, sequence, Kind(record["kind"]), record["time_ns"], record["detected_ns"], record["data"])
