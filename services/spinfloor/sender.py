"""Sending a recording as if it were telemetry: paced, answered, and gone on with after a broken connection.

The batches of a recording are always the same for the same source, sequence and size, so that sending one again,
after an answer was lost, changes nothing.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import msgspec
import websockets
from websockets.asyncio.client import ClientConnection

from spinfloor.client import Client, ServiceError, UnreachableError, encode_batch
from spinfloor.core.frames import FrameBlock
from spinfloor.ingest.service import rejects_in
from spinfloor.ports.clock import Clock

WINDOW: Final = 32
RETRY_FIRST_S: Final = 0.1
RETRY_LONGEST_S: Final = 5.0
BATCH_S: Final = 0.05
ROWS_AT_ONCE: Final = 2000
LATER: Final = (429, 502, 503, 504)  # not now: the service, or what stands before it, may take it again in a moment


@dataclass(slots=True)
class Progress:
    """What has been sent and answered so far."""

    batches: int = 0
    acked: int = 0
    frames: int = 0
    duplicates: int = 0
    rejected: int = 0
    reconnects: int = 0


def cut(block: FrameBlock, *, batch_s: float = BATCH_S) -> list[FrameBlock]:
    """Batches of about batch_s of recording time each, by frame count so that odd time stamps can't hurt."""
    if len(block) < 2:
        return [block]
    length_s = max((int(block.time_ns.max()) - int(block.time_ns.min())) * 1e-9, 1e-9)
    rows = min(max(round(len(block) / length_s * batch_s), 1), ROWS_AT_ONCE)
    return [block.slice(i, min(i + rows, len(block))) for i in range(0, len(block), rows)]


class Sender:
    """Sends the batches of one recording into one sortie, each until it is acknowledged."""

    def __init__(
        self,
        client: Client,
        sortie: str,
        block: FrameBlock,
        clock: Clock,
        *,
        source: str = "send",
        speed: float = 1.0,
        told: Callable[[str], None] = lambda _: None,
    ) -> None:
        """speed: recording seconds per second; 0 as fast as the service takes them."""
        self._client = client
        self._sortie = sortie
        self._source = source
        self._batches = cut(block)
        self._start_ns = int(block.time_ns[0])
        self._speed = speed
        self._clock = clock
        self._told = told
        self._begun_ns: int | None = None
        self.progress = Progress(batches=len(self._batches))

    async def run(self) -> Progress:
        """Until every batch is acknowledged. Raises ServiceError when the service refuses for good."""
        pause = RETRY_FIRST_S
        while self.progress.acked < len(self._batches):
            before = self.progress.acked
            try:
                await self._resume()
                await self._connection()
            except (ServiceError, UnreachableError, websockets.ConnectionClosed, OSError) as exc:
                if isinstance(exc, ServiceError) and exc.status not in LATER:
                    raise
                self.progress.reconnects += 1
                pause = RETRY_FIRST_S if self.progress.acked > before else min(pause * 2.0, RETRY_LONGEST_S)
                self._told(f"the connection broke ({exc}); trying again in {pause:.1f} s")
                await self._clock.sleep(pause)
        return self.progress

    async def _resume(self) -> None:
        """Go on with the last batch the service has on disk; when it has holes, after our own last answer.

        The last is sent again, so that another recording under the same source is refused instead of half left out.
        """
        try:
            states = await self._client.sources(self._sortie)
        except ServiceError as error:
            if error.status not in LATER:
                raise
            return  # whoever knows is away; what is sent again from our own last answer changes nothing
        for state in states:
            whole = int(state["batches"]) == int(state["last_sequence"]) + 1
            if state["source"] == self._source and whole:
                last = min(int(state["last_sequence"]), len(self._batches) - 1)
                self.progress.acked = max(self.progress.acked, last)

    async def _connection(self) -> None:
        path = f"/v1/sorties/{self._sortie}/frames"
        async with self._client.socket(path) as connection:
            window = asyncio.Semaphore(1)  # the first alone: refused, it must have none behind it that are taken
            sending = asyncio.create_task(self._send(connection, window, self.progress.acked))
            try:
                await self._answer(connection, window, sending)
                for _ in range(WINDOW - 1):
                    window.release()
                while self.progress.acked < len(self._batches):
                    await self._answer(connection, window, sending)
            finally:
                sending.cancel()
                with contextlib.suppress(asyncio.CancelledError, websockets.ConnectionClosed):
                    await sending

    async def _send(self, connection: ClientConnection, window: asyncio.Semaphore, first: int) -> None:
        for sequence in range(first, len(self._batches)):
            batch = self._batches[sequence]
            await self._pace(batch)
            await window.acquire()
            await connection.send(encode_batch(self._source, sequence, batch))

    async def _pace(self, batch: FrameBlock) -> None:
        if self._speed <= 0.0:
            return
        now = self._clock.steady_ns()
        due_ns = int((int(batch.time_ns[-1]) - self._start_ns) / self._speed)
        if self._begun_ns is None:
            self._begun_ns = now - int((int(batch.time_ns[0]) - self._start_ns) / self._speed)
        wait_s = (self._begun_ns + due_ns - now) * 1e-9
        if wait_s > 0.0:
            await self._clock.sleep(wait_s)

    async def _answer(
        self, connection: ClientConnection, window: asyncio.Semaphore, sending: asyncio.Task[None]
    ) -> None:
        received = asyncio.create_task(connection.recv())
        await asyncio.wait({received, sending}, return_when=asyncio.FIRST_COMPLETED)
        if not received.done() and sending.done() and sending.exception() is not None:
            received.cancel()
            await sending
        payload = await received
        assert isinstance(payload, bytes)  # binary in, binary out
        answer: dict[str, Any] = msgspec.msgpack.decode(payload)
        window.release()
        problem = answer.get("error")
        if problem is None:
            self._count(answer)
        elif problem.get("status") in LATER:
            raise UnreachableError(
                expected="the service to take a batch", got=str(problem.get("detail")), now="it is sent again"
            )
        else:
            raise ServiceError(problem)

    def _count(self, answer: dict[str, Any]) -> None:
        progress = self.progress
        progress.acked = max(progress.acked, int(answer["acked"]) + 1)
        progress.frames += int(answer["accepted"])
        progress.duplicates += int(answer["duplicates"])
        progress.rejected += rejects_in(answer)
