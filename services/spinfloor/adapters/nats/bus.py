"""The bus over NATS: plain publish and subscribe; a stream in the servers' memory keeps the newest of each subject."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator

import nats.errors
import nats.js.errors
from nats.aio.msg import Msg
from nats.aio.subscription import Subscription as Line

from spinfloor.adapters.nats.connection import NatsLink, translated
from spinfloor.ports.errors import StorageError


class _Listener:
    """One bounded queue; a full one loses its oldest message and counts it."""

    def __init__(self, skip: int, bound: int) -> None:
        self._skip = skip
        self._queue: deque[tuple[str, bytes]] = deque(maxlen=bound)
        self._wake = asyncio.Event()
        self._open = True
        self.line: Line | None = None
        self.dropped = 0

    async def offer(self, message: Msg) -> None:
        """Called by the driver for each message, in order."""
        if len(self._queue) == self._queue.maxlen:
            self.dropped += 1
        self._queue.append((message.subject[self._skip :], message.data))
        self._wake.set()

    async def __aiter__(self) -> AsyncIterator[tuple[str, bytes]]:
        while self._open or self._queue:
            if self._queue:
                yield self._queue.popleft()
                continue
            self._wake.clear()
            await self._wake.wait()

    async def close(self) -> None:
        """See Subscription."""
        self._open = False
        self._wake.set()
        if self.line is not None:
            try:
                await self.line.unsubscribe()
            except (nats.errors.Error, OSError):
                self.line = None  # the connection is gone, and the subscription with it


class NatsBus:
    """Bus."""

    def __init__(self, link: NatsLink) -> None:
        self._link = link
        self.lost = 0

    async def publish(self, subject: str, payload: bytes) -> None:
        """See Bus; what can't be sent now is lost and counted."""
        try:
            await self._link.client.publish(self._link.names.bus(subject), payload)
        except (nats.errors.Error, OSError):
            self.lost += 1

    async def subscribe(self, subject: str, *, bound: int = 256) -> _Listener:
        """See Bus."""
        listener = _Listener(len(self._link.names.bus("")), bound)
        with translated("listening"):
            listener.line = await self._link.client.subscribe(self._link.names.bus(subject), cb=listener.offer)
            await self._link.client.flush()
        return listener

    async def latest(self, subject: str) -> bytes | None:
        """See Bus."""
        try:
            newest = await self._link.newest("latest", self._link.names.bus(subject))
        except StorageError:
            return None
        return None if newest is None else newest.data

    def listened(self, subject: str) -> bool:
        """See Bus; other processes' listeners are not known here."""
        return bool(subject)
