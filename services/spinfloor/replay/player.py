"""Playing one recording into one rehearsal sortie: paced, paused, sought, disturbed."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Final

import numpy as np
import structlog

from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.detect.messages import played_subject
from spinfloor.ingest.batches import Batch
from spinfloor.ingest.service import Ingest
from spinfloor.ports.bus import Bus
from spinfloor.ports.clock import Clock
from spinfloor.ports.errors import OverloadedError
from spinfloor.replay.faults import apply_faults, delay_s
from spinfloor.replay.model import Fault

log = structlog.get_logger("spinfloor.replay")

BATCH_EVERY_S: Final = 0.05
ROWS_AT_ONCE: Final = 100_000
RETRY_S: Final = 0.1


class Player:
    """Position is in seconds since the recording's start; `on_end` is awaited when it gets there."""

    def __init__(
        self,
        block: FrameBlock,
        sortie: str,
        ingest: Ingest,
        bus: Bus,
        clock: Clock,
        on_end: Callable[[], Awaitable[None]],
    ) -> None:
        self._whole = block
        self._ingest = ingest
        self._bus = bus
        self._clock = clock
        self._on_end = on_end
        self.sortie = sortie
        self.start_ns = int(block.time_ns[0])
        self.length_s = (int(block.time_ns[-1]) - self.start_ns) * 1e-9
        self.speed = 1.0
        self.paused = False
        self.position_s = 0.0
        self.ended = False
        self.trouble: str | None = None  # why it ended before the recording did
        self.faults: list[Fault] = []
        self._disturbed = block
        self._next = 0
        self._sequence = 0
        self._newest_ns: int | None = None  # of the frames sent
        self._newest_late_ns = 0  # how late it came
        self._changed = asyncio.Event()
        self._sending = asyncio.Lock()

    async def set_faults(self, faults: list[Fault]) -> None:
        """Faults from now on; frames already sent stay as they were, and a batch on its way arrives first."""
        async with self._sending:
            position = self._next
            sent_ns = int(self._disturbed.time_ns[position - 1]) if position else self.start_ns - 1
            self.faults = faults
            self._disturbed = apply_faults(self._whole, faults, self.start_ns)
            self._next = int(np.searchsorted(self._disturbed.time_ns, sent_ns, side="right"))
            self._changed.set()

    def set_pace(self, *, speed: float | None = None, paused: bool | None = None) -> None:
        """Change speed, pause or go on."""
        self.speed = speed if speed is not None else self.speed
        self.paused = paused if paused is not None else self.paused
        self._changed.set()

    async def skip_to(self, position_s: float) -> None:
        """Forward to a position; everything before it goes in at once, so that the state there is right."""
        self.position_s = min(max(position_s, self.position_s), self.length_s)
        await self._send_due()

    async def run(self) -> None:
        """Play to the end, or to a batch that is refused for good. Cancel to stop."""
        try:
            try:
                await self._play()
            finally:
                self.ended = True
            await self._on_end()
        except SpinfloorError as error:
            self.trouble = error.sentence
            log.warning("a replay ended", sortie=self.sortie, error=error.sentence)

    async def _play(self) -> None:
        last = self._clock.steady_ns()
        while self._next < len(self._disturbed) or self.position_s < self.length_s:
            await self._pause()
            now = self._clock.steady_ns()
            if not self.paused:
                self.position_s = min(self.position_s + (now - last) * 1e-9 * self.speed, self.length_s + 60.0)
            last = now
            await self._send_due()

    async def _pause(self) -> None:
        self._changed.clear()
        tasks = {
            asyncio.ensure_future(self._clock.sleep(BATCH_EVERY_S)),
            asyncio.ensure_future(self._changed.wait()),
        }
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()

    async def _send_due(self) -> None:
        """What has come by now; then the word that it has, so that a player that is late is not taken for lost data."""
        async with self._sending:
            position_s = self.position_s
            late_s = delay_s(self.faults, position_s)
            until_ns = self.start_ns + int((position_s - late_s) * 1e9)
            stop = int(np.searchsorted(self._disturbed.time_ns, until_ns, side="right"))
            while self._next < stop:
                upto = min(stop, self._next + ROWS_AT_ONCE)
                await self._send(self._disturbed.slice(self._next, upto))
                self._next = upto
                self._newest_ns = int(self._disturbed.time_ns[upto - 1])
                self._newest_late_ns = int(late_s * 1e9)
            await self._tell_silence(position_s)

    async def _tell_silence(self, position_s: float) -> None:
        if self._newest_ns is None:
            return
        due_ns = self._newest_ns + self._newest_late_ns
        end_ns = self.start_ns + int(self.length_s * 1e9) + self._newest_late_ns  # beyond its end nothing is missing
        silent_ns = max(min(self.start_ns + int(position_s * 1e9), end_ns) - due_ns, 0)
        await self._bus.publish(
            played_subject(self.sortie), f"{self._newest_ns} {silent_ns} {self._newest_late_ns}".encode()
        )

    async def _send(self, block: FrameBlock) -> None:
        batch = Batch("replay", self._sequence, len(block), block, ())
        while True:
            try:
                await self._ingest.take(self.sortie, batch)
            except OverloadedError:
                await self._clock.sleep(RETRY_S)
                continue
            self._sequence += 1
            return
