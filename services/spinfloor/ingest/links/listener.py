"""A link from its socket to ingest: receive, decode, deliver, count."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from spinfloor.core.frames import FrameBlock
from spinfloor.ingest.links.address import LinkAddress
from spinfloor.ingest.links.inbox import Inbox
from spinfloor.ingest.links.outbox import Outbox
from spinfloor.ingest.links.sockets import Pin, listening
from spinfloor.ports.clock import Clock


class Counts(Protocol):
    """What a decoder counted."""

    damaged: dict[str, int]

    @property
    def sentence(self) -> str:
        """For a person."""
        ...


class Decoder(Protocol):
    """Bytes to frames (see adapters/links). Never raises on what it is sent: damage is counted."""

    @property
    def counts(self) -> Counts:
        """What came and what could not be read."""
        ...

    def take(self, data: bytes, received_ns: int, *, whole: bool = False) -> list[FrameBlock]:
        """More bytes; the frames they complete."""
        ...

    def cut(self) -> None:
        """Bytes of another sender follow."""
        ...


@dataclass(frozen=True, slots=True)
class Link:
    """Everything one link needs."""

    address: LinkAddress
    decoder: Decoder
    outbox: Outbox
    clock: Clock
    told: Callable[[str], None]


class Listener:
    """Runs one link until it is cancelled; then delivers what it has, for `last_s` at most."""

    def __init__(self, link: Link, *, last_s: float = 5.0) -> None:
        self.inbox = Inbox()
        self.pin = Pin(link.address.sender, link.told)
        self.port: asyncio.Future[int] = asyncio.get_running_loop().create_future()
        self._link = link
        self._last_s = last_s
        self._damage_told: set[str] = set()

    async def run(self) -> None:
        """Listen. Raises LinkAddressError, or what ends delivery for good."""
        link = self._link
        delivering = asyncio.create_task(link.outbox.run())
        try:
            async with listening(link.address, self.inbox, self.pin, link.clock) as port:
                self.port.set_result(port)
                link.told(f"listening on {link.address.transport} port {port}")
                decoding = asyncio.create_task(self._decode())
                try:
                    done, _ = await asyncio.wait({decoding, delivering}, return_when=asyncio.FIRST_COMPLETED)
                    for task in done:
                        task.result()
                finally:
                    decoding.cancel()
        finally:
            if not delivering.done():
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(link.outbox.empty(), self._last_s)
            delivering.cancel()
            with contextlib.suppress(asyncio.CancelledError, Exception):
                await delivering

    @property
    def sentence(self) -> str:
        """What came of it all."""
        out = self._link.outbox
        parts = [self._link.decoder.counts.sentence, f"{out.acked} frames on disk"]
        parts += [f"{n} {what}" for n, what in self._losses() if n]
        return ", ".join(parts)

    def _losses(self) -> list[tuple[int, str]]:
        return [
            (self._link.outbox.rejected, "rows rejected"),
            (self._link.outbox.dropped, "frames dropped while the service was away"),
            (self.inbox.dropped, "messages dropped because they came too fast"),
            (self.pin.foreign, "messages of other senders left out"),
        ]

    async def _decode(self) -> None:
        while True:
            for item in await self.inbox.take_all():
                if item.begins:
                    self._link.decoder.cut()
                for block in self._link.decoder.take(item.data, item.received_ns, whole=item.whole):
                    self._link.outbox.put(block)
            self._tell_new_damage()

    def _tell_new_damage(self) -> None:
        damaged = self._link.decoder.counts.damaged
        for what in damaged.keys() - self._damage_told:
            self._damage_told.add(what)
            self._link.told(f"received and not usable: {what}")
