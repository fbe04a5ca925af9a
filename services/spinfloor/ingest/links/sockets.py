"""The sockets: UDP with its sender pinned, TCP with one peer at a time."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any, Final, cast

from spinfloor.ingest.links.address import LinkAddress, LinkAddressError, Transport
from spinfloor.ingest.links.inbox import Inbox, Received
from spinfloor.ports.clock import Clock

SILENCE_RELEASES_NS: Final = 5_000_000_000  # a sender that was silent for so long may be followed by another
READ_BYTES: Final = 65_536


@dataclass(slots=True)
class Pin:
    """The one sender taken. foreign: messages of others, left out."""

    wanted: str | None
    told: Callable[[str], None]
    peer: tuple[str, int] | None = None
    last_ns: int = 0
    foreign: int = 0

    def takes(self, peer: tuple[str, int], steady_ns: int) -> tuple[bool, bool]:
        """(taken, begins): whether this sender is the one, and whether it is a new one."""
        if self.wanted is not None and peer[0] != self.wanted:
            self._refuse(peer)
            return False, False
        if self.peer != peer:
            if self.peer is not None and steady_ns - self.last_ns < SILENCE_RELEASES_NS:
                self._refuse(peer)
                return False, False
            self.peer = peer
            self.last_ns = steady_ns
            self.told(f"receiving from {peer[0]} port {peer[1]}")
            return True, True
        self.last_ns = steady_ns
        return True, False

    def _refuse(self, peer: tuple[str, int]) -> None:
        self.foreign += 1
        if self.foreign == 1:
            self.told(f"messages from {peer[0]} port {peer[1]} are left out: another sender has this link")


class _Datagrams(asyncio.DatagramProtocol):
    def __init__(self, inbox: Inbox, pin: Pin, clock: Clock) -> None:
        self._inbox = inbox
        self._pin = pin
        self._clock = clock

    def datagram_received(self, data: bytes, addr: tuple[str | Any, int]) -> None:
        taken, begins = self._pin.takes((str(addr[0]), int(addr[1])), self._clock.steady_ns())
        if taken:
            self._inbox.put(Received(data, self._clock.wall_ns(), whole=True, begins=begins))


@asynccontextmanager
async def listening(address: LinkAddress, inbox: Inbox, pin: Pin, clock: Clock) -> AsyncIterator[int]:
    """Listen until the block ends; gives the port (that the system chose, for port 0). Raises LinkAddressError."""
    opened = _udp if address.transport is Transport.UDP else _tcp
    async with opened(address, inbox, pin, clock) as port:
        yield port


def _cannot(address: LinkAddress, error: OSError) -> LinkAddressError:
    return LinkAddressError(
        expected=f"to listen on {address}", got=error.strerror or str(error), now="nothing is received"
    )


@asynccontextmanager
async def _udp(address: LinkAddress, inbox: Inbox, pin: Pin, clock: Clock) -> AsyncIterator[int]:
    loop = asyncio.get_running_loop()
    try:
        transport, _ = await loop.create_datagram_endpoint(
            lambda: _Datagrams(inbox, pin, clock), local_addr=(address.host, address.port)
        )
    except OSError as error:
        raise _cannot(address, error) from error
    try:
        yield int(transport.get_extra_info("sockname")[1])
    finally:
        transport.close()


@asynccontextmanager
async def _tcp(address: LinkAddress, inbox: Inbox, pin: Pin, clock: Clock) -> AsyncIterator[int]:
    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        peer = cast(tuple[str, int], tuple(writer.get_extra_info("peername")[:2]))
        taken, begins = pin.takes(peer, clock.steady_ns())
        try:
            while taken and (data := await reader.read(READ_BYTES)):
                taken, _ = pin.takes(peer, clock.steady_ns())
                inbox.put(Received(data, clock.wall_ns(), whole=False, begins=begins))
                begins = False
        except OSError:
            pass  # the peer went without saying so; the next one may come at once
        finally:
            if pin.peer == peer:
                pin.peer = None
            writer.close()

    try:
        server = await asyncio.start_server(serve, address.host, address.port)
    except OSError as error:
        raise _cannot(address, error) from error
    async with server:
        yield int(server.sockets[0].getsockname()[1])
