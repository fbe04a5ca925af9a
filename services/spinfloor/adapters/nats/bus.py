"""The bus over NATS: plain publish and subscribe; a stream in the servers' memory keeps the newest of each subject."""

from __future__ import annotations

from collections import OrderedDict
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

import nats.errors
from nats.aio.msg import Msg
from nats.aio.subscription import Subscription as Line

from spinfloor.adapters.nats.connection import NatsLink, translated
from spinfloor.adapters.newest_queue import NewestQueue
from spinfloor.ports.clock import Clock
from spinfloor.ports.errors import StorageError

READ_AGAIN_NS: Final = 2_000_000_000
SUBJECTS_KEPT: Final = 4096


class _Listener(NewestQueue):
    def __init__(self, skip: int, bound: int) -> None:
        super().__init__(bound)
        self._skip = skip
        self.line: Line | None = None

    async def offer(self, message: Msg) -> None:
        """Called by the driver for each message, in order."""
        self.put(message.subject[self._skip :], message.data)

    async def close(self) -> None:
        """See Subscription."""
        self.end()
        await _unsubscribe(self.line)


async def _unsubscribe(line: Line | None) -> None:
    if line is not None:
        with suppress(nats.errors.Error, OSError):  # the connection is gone, and the subscription with it
            await line.unsubscribe()


@dataclass(slots=True)
class _Newest:
    """The newest payload of a subject that somebody here asks for again and again."""

    payload: bytes | None
    read_ns: int
    line: Line | None = None


class NatsBus:
    """Bus. A subject once asked for is listened to, so that asking again seldom goes to the server."""

    def __init__(self, link: NatsLink, clock: Clock) -> None:
        self._link = link
        self._clock = clock
        self._newest: OrderedDict[str, _Newest] = OrderedDict()
        self.lost = 0

    async def publish(self, subject: str, payload: bytes) -> None:
        """See Bus; what can't be sent now is lost and counted."""
        if (known := self._newest.get(subject)) is not None:
            known.payload = payload
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
        known = self._newest.get(subject)
        if known is None or self._clock.steady_ns() - known.read_ns > READ_AGAIN_NS:
            known = await self._look(subject, known)
        return known.payload

    async def _look(self, subject: str, known: _Newest | None) -> _Newest:
        """Listen, then read what is retained; a line that was broken may have lost what was published meanwhile."""
        known = known or _Newest(None, 0)
        before = known.payload
        try:
            if known.line is None:
                await self._keep(subject, known)
            newest = await self._link.newest("latest", self._link.names.bus(subject))
        except StorageError:
            return known
        if known.payload is before:  # else something newer was heard while the answer was under way
            known.payload = None if newest is None else newest.data
        known.read_ns = self._clock.steady_ns()
        return known

    async def _keep(self, subject: str, known: _Newest) -> None:
        async def heard(message: Msg) -> None:
            known.payload = message.data

        with translated("listening"):
            known.line = await self._link.client.subscribe(self._link.names.bus(subject), cb=heard)
        self._newest[subject] = known
        if len(self._newest) > SUBJECTS_KEPT:
            _, oldest = self._newest.popitem(last=False)
            await _unsubscribe(oldest.line)

    def listened(self, subject: str) -> bool:
        """See Bus; other processes' listeners are not known here."""
        return bool(subject)
