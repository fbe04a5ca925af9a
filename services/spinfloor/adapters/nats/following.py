"""Waking readers when something new is on disk."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

import nats.errors
from nats.aio.msg import Msg

from spinfloor.adapters.nats.connection import NatsLink, translated


class Waker:
    """The server echoes the headers of what it has stored; that sets the event of whoever listens."""

    def __init__(self, link: NatsLink) -> None:
        self._link = link

    @asynccontextmanager
    async def listening(self, subject: str) -> AsyncIterator[asyncio.Event]:
        """An event that is set whenever a message on `subject` (of inputs or events) has been stored."""
        wake = asyncio.Event()

        async def stored(_message: Msg) -> None:
            wake.set()

        with translated("listening"):
            subscription = await self._link.client.subscribe(self._link.names.stored(subject), cb=stored)
        try:
            yield wake
        finally:
            with suppress(nats.errors.Error, OSError):  # the connection is gone, and the subscription with it
                await subscription.unsubscribe()
