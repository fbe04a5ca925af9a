"""Many inputs in one sync of the message server's disk.

A message on its own costs the server a sync of its disk, one after another in the whole stream: some thousands a second on a
quick disk, some hundreds on a slow or busy one. An atomic batch of any size costs it four. So a few inputs at a time are
stored each on its own, which is quickest, and what gathers while more than that wait goes together, in the order it came.
"""

from __future__ import annotations

import asyncio
import uuid
from collections import deque
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Protocol

import nats.js.errors
from nats.aio.client import Client

from spinfloor.adapters.nats.acks import Acks
from spinfloor.ports.errors import StorageError
from spinfloor.ports.inputs import behind_a_failed_one

APART_AT_MOST: Final = 8  # beyond it four syncs, and what else a batch costs the server, are sooner done
TOGETHER_AT_MOST: Final = 256  # messages; the server takes 1,000
TOGETHER_BYTES: Final = 4 << 20

Headers = Mapping[str, str]
StoreOne = Callable[[str, bytes, Headers], Awaitable[int]]


@dataclass(slots=True)
class Line:
    """The unanswered inputs of a sortie. turn: what is looked up before one is stored can't let another overtake it.

    failed: one could not be stored; those behind it are not, until all of them have been told.
    """

    waiting: int = 0
    failed: bool = False
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)


class RefusedWholeError(Exception):
    """The server took nothing of a batch: one of its messages is there already, or it takes no batches."""


class StoreMany(Protocol):
    """Messages in one commit."""

    async def __call__(self, messages: Sequence[tuple[str, bytes, Headers]]) -> int:
        """Position of the first, the others follow. Raises RefusedWholeError, and what storing one raises."""
        ...


@dataclass(slots=True)
class _Waiting:
    line: Line
    subject: str
    data: bytes
    headers: Headers
    position: asyncio.Future[int]

    @property
    def message(self) -> tuple[str, bytes, Headers]:
        return self.subject, self.data, self.headers

    def end(self, outcome: int | BaseException) -> None:
        if isinstance(outcome, StorageError):
            self.line.failed = True
        if self.position.done():  # whoever asked has gone
            return
        if isinstance(outcome, BaseException):
            self.position.set_exception(outcome)
        else:
            self.position.set_result(outcome)


class Gatherer:
    """Stores messages in the order they come. How many may wait is for its caller to bound."""

    def __init__(self, one: StoreOne, many: StoreMany) -> None:
        self._one = one
        self._many = many
        self._apart = 0  # on their way, each on its own
        self._waiting: deque[_Waiting] = deque()
        self._sending: asyncio.Task[None] | None = None
        self.together = 0  # messages that went with others

    async def store(self, line: Line, subject: str, data: bytes, headers: Headers) -> int:
        """The message's position. Raises what `one` does; cancelled, it may be stored all the same."""
        if line.failed:
            raise behind_a_failed_one()
        if self._sending is None and self._apart < APART_AT_MOST:
            self._apart += 1
            try:
                return await self._one(subject, data, headers)
            finally:
                self._apart -= 1
        loop = asyncio.get_running_loop()
        waiting = _Waiting(line, subject, data, headers, loop.create_future())
        self._waiting.append(waiting)
        if self._sending is None:
            self._sending = loop.create_task(self._send())
        return await waiting.position

    async def _send(self) -> None:
        try:
            while self._waiting:
                group = self._next_group()
                if len(group) <= APART_AT_MOST or not await self._together(group):
                    await asyncio.gather(*(self._alone(one) for one in group))
        finally:
            self._sending = None
            while self._waiting:
                self._waiting.popleft().position.cancel()

    def _next_group(self) -> list[_Waiting]:
        group: list[_Waiting] = []
        size = 0
        while self._waiting and len(group) < TOGETHER_AT_MOST and size < TOGETHER_BYTES:
            one = self._waiting.popleft()
            if one.line.failed:
                one.end(behind_a_failed_one())
                continue
            group.append(one)
            size += len(one.data)
        return group

    async def _together(self, group: list[_Waiting]) -> bool:
        """False: nothing of it was taken; each on its own will be told why."""
        try:
            first = await self._many([one.message for one in group])
        except RefusedWholeError:
            return False
        # Each of those who wait is told, whatever it was; a cancelled sending leaves none of them waiting.
        except BaseException as error:
            for one in group:
                one.end(error)
            if not isinstance(error, Exception):
                raise
            return True
        self.together += len(group)
        for place, one in enumerate(group):
            one.end(first + place)
        return True

    async def _alone(self, one: _Waiting) -> None:
        try:
            one.end(await self._one(*one.message))
        # As above.
        except BaseException as error:
            one.end(error)
            if not isinstance(error, Exception):
                raise


async def publish_together(client: Client, acks: Acks, messages: Sequence[tuple[str, bytes, Headers]]) -> int:
    """Publish to a stream that takes atomic batches; position of the first. Raises RefusedWholeError, the driver's errors."""
    batch = uuid.uuid4().hex
    *others, (subject, data, headers) = [
        (subject, data, {**headers, "Nats-Batch-Id": batch, "Nats-Batch-Sequence": str(number)})
        for number, (subject, data, headers) in enumerate(messages, 1)
    ]
    for one in others:
        await client.publish(one[0], one[1], headers=one[2])
    try:
        answer = await acks.publish(subject, data, {**headers, "Nats-Batch-Commit": "1"})
    except nats.js.errors.APIError as error:
        raise RefusedWholeError(error.description) from error
    return int(answer["seq"]) - len(messages) + 1
