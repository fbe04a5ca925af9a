"""What the socket received and the decoder has not taken yet: bounded, oldest out first, counted."""

from __future__ import annotations

import asyncio
from collections import deque
from dataclasses import dataclass
from typing import Final

BOUND: Final = 4096  # datagrams: over half a minute at 100 a second


@dataclass(frozen=True, slots=True)
class Received:
    """Bytes and when they came. whole: they end a message. begins: first bytes of a new sender or connection."""

    data: bytes
    received_ns: int
    whole: bool
    begins: bool = False


class Inbox:
    """One producer (the socket), one consumer (the listener), in the same event loop."""

    def __init__(self, bound: int = BOUND) -> None:
        self.dropped = 0
        self._waiting: deque[Received] = deque()
        self._bound = bound
        self._there = asyncio.Event()

    def put(self, item: Received) -> None:
        """Never waits: when full the oldest goes and is counted."""
        if len(self._waiting) >= self._bound:
            self._waiting.popleft()
            self.dropped += 1
        self._waiting.append(item)
        self._there.set()

    async def take_all(self) -> list[Received]:
        """Everything there is, waiting until there is something."""
        await self._there.wait()
        self._there.clear()
        items = list(self._waiting)
        self._waiting.clear()
        return items
