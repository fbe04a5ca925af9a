"""The queue behind a subscription, whatever brings the messages."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import AsyncIterator


class NewestQueue:
    """One bounded queue with one reader; a full one loses its oldest message and counts it."""

    def __init__(self, bound: int) -> None:
        self._queue: deque[tuple[str, bytes]] = deque(maxlen=bound)
        self._wake = asyncio.Event()
        self._open = True
        self.dropped = 0

    def put(self, subject: str, payload: bytes) -> None:
        """Add a message; never waits."""
        if len(self._queue) == self._queue.maxlen:
            self.dropped += 1
        self._queue.append((subject, payload))
        self._wake.set()

    async def __aiter__(self) -> AsyncIterator[tuple[str, bytes]]:
        while self._open or self._queue:
            if self._queue:
                yield self._queue.popleft()
                continue
            self._wake.clear()
            await self._wake.wait()

    def end(self) -> None:
        """No more will come; the reader takes what is there and ends."""
        self._open = False
        self._wake.set()
