"""A sortie's events for one listener: every one, in order, once; from the bus, or the journal when that lost any."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, AsyncIterator
from typing import Final

from spinfloor.detect.messages import event_body, events_subject, split_event_message
from spinfloor.ports.bundle import Ports

PAGE: Final = 500
LOOK_AGAIN_S: Final = 1.0
COMMITTING_S: Final = 0.01

FedEvent = tuple[str, int, bytes]  # run, sequence, live message


class EventFeed:
    """`async for run, sequence, message in feed`; whoever leaves off earlier closes what `aiter` gave.

    A listener that is too slow for its bounded queue loses nothing: what fell out is read from the journal.
    """

    def __init__(
        self, ports: Ports, sortie: str, *, run: str | None = None, after: int | None = None, bound: int = 1024
    ) -> None:
        self._ports = ports
        self._sortie = sortie
        self._run = run
        self._bound = bound
        self._next = None if after is None else after + 1

    async def __aiter__(self) -> AsyncGenerator[FedEvent]:
        listener = await self._ports.bus.subscribe(events_subject(self._sortie), bound=self._bound)
        waiting: asyncio.Future[tuple[str, bytes]] | None = None
        try:
            async for fed in self._caught_up():
                yield fed
            stream = aiter(listener)
            while True:
                waiting = waiting or asyncio.ensure_future(anext(stream))
                done, _ = await asyncio.wait({waiting}, timeout=LOOK_AGAIN_S)
                if not done:
                    # The bus may lose its last message; nothing comes after it that would show the hole.
                    async for fed in self._caught_up():
                        yield fed
                    continue
                try:
                    _, payload = waiting.result()
                except StopAsyncIteration:
                    return
                waiting = None
                async for fed in self._with(payload):
                    yield fed
        finally:
            await listener.close()
            if waiting is not None:
                waiting.cancel()
                await asyncio.gather(waiting, return_exceptions=True)

    async def _begin(self) -> None:
        current = await self._ports.events.current_run(self._sortie)
        if self._run is None or (current is not None and current != self._run):
            if self._run is not None:
                self._next = 0  # another run has begun since: its events are told from the start
            self._run = current
        if self._run is not None and self._next is None:
            self._next = await self._ports.events.next_sequence(self._sortie, self._run)

    async def _caught_up(self) -> AsyncIterator[FedEvent]:
        await self._begin()
        while self._run is not None and self._next is not None:
            events = await self._ports.events.read(self._sortie, run=self._run, after=self._next - 1, limit=PAGE)
            for event in events:
                self._next = event.sequence + 1
                now = self._ports.clock.wall_ns()
                yield event.run, event.sequence, event_body(event, server_ns=now, received_ns=None)
            if len(events) < PAGE:
                return

    async def _with(self, payload: bytes) -> AsyncIterator[FedEvent]:
        run, sequence, body = split_event_message(payload)
        if run != self._run:
            self._run, self._next = run, 0
        if self._next is None:
            self._next = sequence
        while self._next < sequence:
            before = self._next
            async for fed in self._caught_up():
                yield fed
            if self._next == before:
                await self._ports.clock.sleep(COMMITTING_S)  # told, and on its way to the journal
        if self._next == sequence:
            self._next = sequence + 1
            yield run, sequence, body
