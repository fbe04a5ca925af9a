"""Events and checkpoints on their way to disk, in order, without holding up the detector."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from itertools import takewhile
from typing import Final

from spinfloor.core.events import Event
from spinfloor.ports.bundle import Ports
from spinfloor.ports.checkpoints import Checkpoint
from spinfloor.ports.leases import Grant

WAITING_AT_MOST: Final = 10_000  # events; a detector this far ahead of the disk waits for it


class EventWriter:
    """A queue of events and checkpoints with one task that writes them; bounded by WAITING_AT_MOST.

    `written` is told of events once they are on disk (some again after a crash).
    """

    def __init__(self, ports: Ports, grant: Grant, written: Callable[[Sequence[Event]], None]) -> None:
        self._ports = ports
        self._grant = grant
        self._written = written
        self._waiting: deque[Event | Checkpoint] = deque()
        self._wake = asyncio.Event()
        self._idle = asyncio.Event()
        self._idle.set()
        self.failed: BaseException | None = None

    @property
    def depth(self) -> int:
        """Events and checkpoints not on disk yet."""
        return len(self._waiting)

    async def put(self, events: list[Event]) -> None:
        """Queue events; waits when too many are waiting already."""
        while len(self._waiting) > WAITING_AT_MOST:
            await self.flush()
        self._waiting.extend(events)
        self._idle.clear()
        self._wake.set()

    def checkpoint(self, saved: Checkpoint) -> None:
        """Queue a checkpoint behind the events made so far."""
        self._waiting.append(saved)
        self._idle.clear()
        self._wake.set()

    async def flush(self) -> None:
        """Return when everything queued is on disk."""
        if self.failed is not None:
            raise self.failed
        await self._idle.wait()
        if self.failed is not None:
            raise self.failed

    async def run(self) -> None:
        """Write until cancelled."""
        try:
            while True:
                await self._wake.wait()
                self._wake.clear()
                await self._drain()
                self._idle.set()
        except Exception as exc:
            self.failed = exc
            self._idle.set()
            raise

    async def close(self) -> None:
        """Write what is left; for use after `run` has been cancelled."""
        await self._drain()
        self._idle.set()

    async def _drain(self) -> None:
        while self._waiting:
            # Taken off only once they are on disk: a cancelled write is done again, and skipped if it had been done.
            events = [one for one in takewhile(_is_event, self._waiting) if isinstance(one, Event)]
            if events:
                await self._ports.events.append(events, fence=self._grant.fence)
                self._drop(len(events))
                self._written(events)
            elif isinstance(self._waiting[0], Checkpoint):
                await self._ports.checkpoints.save(self._waiting[0], fence=self._grant.fence)
                self._drop(1)

    def _drop(self, count: int) -> None:
        for _ in range(count):
            self._waiting.popleft()


def _is_event(one: Event | Checkpoint) -> bool:
    return isinstance(one, Event)
