"""Reading stretches of a stream: each answer comes as many messages, all of them on one subscription.

A subscription of its own for each read costs the server, and the driver, more than the messages do.
"""

from __future__ import annotations

import asyncio
import itertools
import json
from typing import Final

import nats.errors
from nats.aio.client import Client
from nats.aio.msg import Msg
from nats.aio.subscription import Subscription

ANSWER_LIMIT_S: Final = 2.0  # between one message of an answer and the next
BATCH_BYTES: Final = 4 << 20  # of one read; bounds a reader's memory


class _Answer:
    """What has come of one read so far."""

    def __init__(self, loop: asyncio.AbstractEventLoop) -> None:
        self.messages: list[Msg] = []
        self.whole: asyncio.Future[list[Msg]] = loop.create_future()
        self._seen = -1
        self._loop = loop
        self._look()

    def _look(self) -> None:
        """Nothing new since the last look: the rest won't come."""
        if len(self.messages) == self._seen:
            if not self.whole.done():
                self.whole.set_exception(nats.errors.TimeoutError())
            return
        self._seen = len(self.messages)
        self._timer = self._loop.call_later(ANSWER_LIMIT_S, self._look)

    def take(self, message: Msg) -> None:
        """One more message; one with a status is the last, 204 the end of a batch, 404 nothing there."""
        headers = message.headers or {}
        status = headers.get("Status")
        if status is None:
            self.messages.append(message)
        elif self.whole.done():
            return
        elif status in ("204", "404"):
            self.whole.set_result(self.messages)
        else:
            self.whole.set_exception(nats.errors.Error(f"status {status} {headers.get('Description', '')}"))

    def end(self) -> None:
        """Nobody waits for it any more."""
        self._timer.cancel()


class Reads:
    """The reads under way on one connection."""

    def __init__(self, client: Client) -> None:
        self._client = client
        self._answers: dict[str, _Answer] = {}
        self._numbers = itertools.count()
        self._inbox = ""
        self._subscription: Subscription | None = None
        self._subscribing = asyncio.Lock()

    async def after(self, stream: str, subject: str, position: int, limit: int) -> list[Msg]:
        """Up to `limit` messages (fewer when they are large) on a subject (wildcards allowed) past `position`.

        Raises the driver's errors, also when the answer stops in the middle for ANSWER_LIMIT_S.
        """
        if self._subscription is None:
            await self._subscribe()
        request = {"seq": position + 1, "next_by_subj": subject, "batch": limit, "max_bytes": BATCH_BYTES}
        number = str(next(self._numbers))
        answer = self._answers[number] = _Answer(asyncio.get_running_loop())
        try:
            await self._client.publish(
                f"$JS.API.DIRECT.GET.{stream}", json.dumps(request).encode(), reply=f"{self._inbox}.{number}"
            )
            return await answer.whole
        finally:
            answer.end()
            del self._answers[number]

    async def _subscribe(self) -> None:
        async with self._subscribing:
            if self._subscription is None:
                self._inbox = self._client.new_inbox()
                self._subscription = await self._client.subscribe(f"{self._inbox}.*", cb=self._came)

    async def _came(self, message: Msg) -> None:
        """Called by the driver for each message, in order."""
        answer = self._answers.get(message.subject.rpartition(".")[2])
        if answer is not None:  # else its reader has given up
            answer.take(message)
