"""The worker processes that run detectors aside from the flights, so that no flight waits for a rerun."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
from collections.abc import AsyncIterator, Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from functools import partial
from typing import Final, TypeVar

from spinfloor.archive.rerun_worker import Start, advance, begin, run_name
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Event
from spinfloor.ports.bundle import Ports
from spinfloor.ports.inputs import FramesInput, Input
from spinfloor.ports.wire import encode_input

PIECE_FRAMES: Final = 50_000  # some 8 MB on its way to a worker
PIECE_INPUTS: Final = 5_000
PAGE_INPUTS: Final = 512
ATTEMPTS: Final = 2
IDLE_S: Final = 300.0  # a worker holds a quarter of a gigabyte; it is let go when nobody has asked for so long

T = TypeVar("T")
Pieces = AsyncIterator[Sequence[Input]]


class RerunFailedError(SpinfloorError):
    """A worker process ended in the middle of a rerun."""

    code = "rerun-failed"
    http_status = 503
    exit_code = 1


@dataclass(frozen=True, slots=True)
class Made:
    """A run made aside: its name, its events, and the detector's state at its end."""

    run: str
    events: list[Event]
    state: bytes | None


class Bench:
    """At most `workers` processes, started when first asked for."""

    def __init__(self, workers: int | None = None) -> None:
        self.workers = workers or max(1, (os.cpu_count() or 2) - 1)
        self._pool: ProcessPoolExecutor | None = None
        self._idle: asyncio.TimerHandle | None = None
        self._busy = 0

    async def name_of(self, start: Start) -> str:
        """The name the run would have."""
        return await self._call(partial(run_name, start))

    async def make(self, start: Start, pieces: Pieces, *, told: Callable[[int], None] | None = None) -> Made:
        """Run a detector over the inputs; told hears the number of frames done. Raises RerunFailedError."""
        run = start.run or await self.name_of(start)
        state: bytes | None = None
        events: list[Event] = []
        done = 0
        async for piece in pieces:
            bodies = await asyncio.to_thread(_bodies, piece)
            state, more = await self._call(partial(advance, start, state, bodies))
            events += more
            done += sum(len(entry.block) for entry in piece if isinstance(entry, FramesInput))
            if told is not None:
                told(done)
        return Made(run, events, state)

    async def _call(self, work: Callable[[], T]) -> T:
        """A piece of work is pure, so a worker that ended under it (or before it) is replaced once and asked again."""
        if self._idle is not None:
            self._idle.cancel()
        self._busy += 1
        try:
            for _ in range(ATTEMPTS):
                pool = self._ready()
                try:
                    return await asyncio.get_running_loop().run_in_executor(pool, work)
                except BrokenProcessPool:
                    self._pool = None if self._pool is pool else self._pool
            raise RerunFailedError(
                expected="a worker process to finish its piece of the rerun",
                got=f"one that ended, {ATTEMPTS} times (was it out of memory?)",
                now="nothing of this rerun was stored; the flown run is untouched",
            )
        finally:
            self._busy -= 1
            if not self._busy:
                self._idle = asyncio.get_running_loop().call_later(IDLE_S, self._let_go)

    def _ready(self) -> ProcessPoolExecutor:
        if self._pool is None:
            spawn = multiprocessing.get_context("spawn")  # a fork would copy the service's threads' locks
            self._pool = ProcessPoolExecutor(self.workers, mp_context=spawn, initializer=begin)
        return self._pool

    def _let_go(self) -> None:
        if not self._busy and self._pool is not None:
            self._pool.shutdown(wait=False)
            self._pool = None

    async def close(self) -> None:
        """End the workers."""
        if self._idle is not None:
            self._idle.cancel()
        pool, self._pool = self._pool, None
        if pool is not None:
            await asyncio.to_thread(pool.shutdown, wait=True, cancel_futures=True)


def _bodies(piece: Sequence[Input]) -> list[bytes]:
    return [encode_input(entry) for entry in piece]


async def journalled(ports: Ports, sortie: str, *, up_to: int) -> Pieces:
    """A sortie's inputs up to an offset, in pieces that a worker takes at once."""
    after, piece, frames = -1, list[Input](), 0
    while entries := await ports.inputs.read(sortie, after=after, limit=PAGE_INPUTS):
        after = entries[-1].offset
        for entry in entries:
            if entry.offset > up_to:
                break
            piece.append(entry.input)
            frames += len(entry.input.block) if isinstance(entry.input, FramesInput) else 0
            if frames >= PIECE_FRAMES or len(piece) >= PIECE_INPUTS:
                yield piece
                piece, frames = [], 0
        if after >= up_to:
            break
    if piece:
        yield piece
