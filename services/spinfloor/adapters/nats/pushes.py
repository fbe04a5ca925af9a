"""Being handed what a stream stores, as it is stored, by a consumer that the server keeps for one reader.

The consumer is a convenience: each message carries the consumer's own count, so that a hole shows at once, and whoever has
a hole, a silence or too much waiting reads the stream itself again and asks for a new consumer. Nothing hangs on one.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from typing import Final

import nats.errors
from nats.aio.client import Client
from nats.aio.msg import Msg

ANSWER_LIMIT_S: Final = 2.0
FORGOTTEN_AFTER_S: Final = 5.0  # without its reader
WAITING_AT_MOST: Final = 256  # messages; a reader further behind reads the stream, where nothing waits in memory
WAITING_BYTES: Final = 4 << 20


class Push:
    """Messages handed over so far and not taken yet."""

    def __init__(self) -> None:
        self._messages: list[tuple[int, Msg]] = []
        self._count = 0
        self._bytes = 0
        self._waiter: asyncio.Future[None] | None = None
        self.broken = False

    async def came(self, message: Msg) -> None:
        """Called by the driver for each message, in order."""
        try:
            sequence = message.metadata.sequence
        except nats.errors.NotJSMessageError:
            return  # the server's own word, about the connection
        self._count += 1
        much = len(self._messages) >= WAITING_AT_MOST or self._bytes >= WAITING_BYTES
        if sequence.consumer != self._count or much:
            self.broken = True
        if not self.broken:
            self._messages.append((sequence.stream, message))
            self._bytes += len(message.data)
        self._wake()

    def _wake(self) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    async def next(self, within_s: float) -> list[tuple[int, Msg]]:
        """What has been handed over, by position in the stream; waits for it. Empty: nothing came, or it is broken."""
        if not self._messages and not self.broken:
            loop = asyncio.get_running_loop()
            self._waiter = loop.create_future()
            timer = loop.call_later(within_s, self._wake)
            try:
                await self._waiter
            finally:
                timer.cancel()
                self._waiter = None
        messages, self._messages, self._bytes = self._messages, [], 0
        return messages


@asynccontextmanager
async def pushed(client: Client, stream: str, subject: str, position: int) -> AsyncIterator[Push]:
    """What is stored on a subject (wildcards allowed) past `position`. Raises the driver's errors."""
    push = Push()
    inbox = client.new_inbox()
    subscription = await client.subscribe(inbox, cb=push.came)
    try:
        config = {
            "deliver_subject": inbox,
            "deliver_policy": "by_start_sequence",
            "opt_start_seq": position + 1,
            "filter_subject": subject,
            "ack_policy": "none",
            "replay_policy": "instant",
            "inactive_threshold": int(FORGOTTEN_AFTER_S * 1e9),
            "mem_storage": True,
            "num_replicas": 1,
        }
        request = json.dumps({"stream_name": stream, "config": config}).encode()
        answer = await client.request(f"$JS.API.CONSUMER.CREATE.{stream}", request, timeout=ANSWER_LIMIT_S)
        refused = json.loads(answer.data).get("error")
        if refused is not None:
            raise nats.errors.Error(str(refused.get("description", "no consumer")))
        yield push
    finally:
        with suppress(nats.errors.Error, OSError):  # the connection is gone, and the subscription with it
            await subscription.unsubscribe()
