"""Frames on their way to ingest: numbered batches, each offered until acknowledged, and a bound on those waiting."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Final

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.ingest.service import rejects_in
from spinfloor.ports.clock import Clock

# Hands over one batch; returns the acknowledgement. Raises a SpinfloorError whose exit_code is 1 when it may be tried
# again, 2 when it is refused for good.
Deliver = Callable[[int, FrameBlock], Awaitable[Mapping[str, Any]]]

FRAMES_HELD: Final = 60_000  # ten minutes at 100 Hz while the service cannot be reached
BATCH_ROWS: Final = 2_000
GATHER_S: Final = 0.03
RETRY_FIRST_S: Final = 0.1
RETRY_LONGEST_S: Final = 2.0


class Outbox:
    """Keeps a batch unchanged until it is acknowledged, so that offering it again changes nothing."""

    def __init__(
        self, deliver: Deliver, clock: Clock, told: Callable[[str], None], *, first: int = 0, held: int = FRAMES_HELD
    ) -> None:
        self.acked = 0
        self.dropped = 0
        self.rejected = 0
        self._deliver = deliver
        self._clock = clock
        self._told = told
        self._sequence = first
        self._held = held
        self._waiting: deque[FrameBlock] = deque()
        self._frames = 0
        self._there = asyncio.Event()
        self._idle = asyncio.Event()
        self._idle.set()

    def put(self, block: FrameBlock) -> None:
        """Never waits: beyond the bound the oldest frames go, counted and told."""
        self._waiting.append(block)
        self._frames += len(block)
        while self._frames > self._held and len(self._waiting) > 1:
            gone = self._waiting.popleft()
            self._frames -= len(gone)
            if self.dropped == 0:
                self._told("the service has been away for too long: the oldest frames are being dropped")
            self.dropped += len(gone)
        self._idle.clear()
        self._there.set()

    async def run(self) -> None:
        """Deliver for ever. Raises what `deliver` raises for good."""
        while True:
            await self._there.wait()
            await self._clock.sleep(GATHER_S)
            batch = self._next()
            if batch is None:
                self._there.clear()
                self._idle.set()
                continue
            await self._until_acknowledged(batch)

    async def empty(self) -> None:
        """Return once everything put so far is acknowledged."""
        await self._idle.wait()

    def _next(self) -> FrameBlock | None:
        parts: list[FrameBlock] = []
        while self._waiting and sum(map(len, parts)) < BATCH_ROWS:
            parts.append(self._waiting.popleft())
        if not parts:
            return None
        self._frames -= sum(map(len, parts))
        return FrameBlock.joined(parts)

    async def _until_acknowledged(self, batch: FrameBlock) -> None:
        pause = RETRY_FIRST_S
        away = False
        while True:
            try:
                answer = await self._deliver(self._sequence, batch)
                break
            except SpinfloorError as error:
                if error.exit_code != 1:
                    raise
                if not away:
                    self._told(f"{error.sentence} Trying again until it is taken.")
                away = True
                await self._clock.sleep(pause)
                pause = min(pause * 2.0, RETRY_LONGEST_S)
        if away:
            self._told("the service takes frames again")
        self._sequence += 1
        self.acked += int(answer.get("accepted", 0))
        self.rejected += rejects_in(answer)
