"""Messages to a stream and the servers' answers, all of them on one subscription.

When the line breaks whoever waits is told at once, and nothing of what was handed over before goes out afterwards: so what
is sent once the line is back can't come before something that was lost with it.
"""

from __future__ import annotations

import asyncio
import itertools
import json
from collections.abc import Mapping
from typing import Any, Final

import nats.errors
import nats.js.errors
from nats.aio.client import Client
from nats.aio.msg import Msg

ANSWER_LIMIT_S: Final = 2.0
NOBODY_THERE: Final = "503"


class Acks:
    """The messages of one connection that have no answer yet."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._waiting: dict[str, asyncio.Future[Msg]] = {}
        self._numbers = itertools.count()
        self._inbox = ""

    async def open(self) -> None:
        """Once connected."""
        self._inbox = self._client.new_inbox()
        await self._client.subscribe(f"{self._inbox}.*", cb=self._came)

    async def publish(self, subject: str, data: bytes, headers: Mapping[str, str]) -> dict[str, Any]:
        """The stream's answer. Raises the driver's errors; after one it isn't known whether the message was stored."""
        loop = asyncio.get_running_loop()
        number = str(next(self._numbers))
        answer: asyncio.Future[Msg] = loop.create_future()
        self._waiting[number] = answer
        timer = loop.call_later(ANSWER_LIMIT_S, _end, answer, nats.errors.TimeoutError())
        try:
            await self._client.publish(subject, data, reply=f"{self._inbox}.{number}", headers=dict(headers))
            message = await answer
        finally:
            timer.cancel()
            answer.cancel()
            del self._waiting[number]
        if (message.headers or {}).get("Status") == NOBODY_THERE:
            raise nats.js.errors.NoStreamResponseError
        record: dict[str, Any] = json.loads(message.data)
        if "error" in record:
            raise nats.js.errors.APIError.from_error(record["error"])
        return record

    async def _came(self, message: Msg) -> None:
        """Called by the driver for each answer."""
        answer = self._waiting.get(message.subject.rpartition(".")[2])
        if answer is not None and not answer.done():  # else its sender has given up
            answer.set_result(message)

    async def line_broke(self) -> None:
        """Called by the driver when it has lost the line, before it tries to have it back."""
        self._client._pending.clear()  # it offers no other way; subscriptions are made anew from its own list
        self._client._pending_data_size = 0
        for answer in self._waiting.values():
            _end(answer, nats.errors.StaleConnectionError())


def _end(answer: asyncio.Future[Msg], error: Exception) -> None:
    if not answer.done():
        answer.set_exception(error)
        answer.exception()  # the sender may have been told otherwise already
