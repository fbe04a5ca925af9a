"""The message server's wall clock in every process, so that the machines' own need not agree.

What came when is stamped in one process and judged in another; with clocks of their own two seconds apart all data would
look two seconds old, and lost. The server's time is asked for now and then and carried on by this machine's steady clock.
"""

from __future__ import annotations

from datetime import datetime
from typing import Final

from spinfloor.adapters.nats.connection import NatsLink
from spinfloor.ports.clock import Clock
from spinfloor.ports.errors import StorageError

ASK_EVERY_S: Final = 10.0  # steady clocks drift apart by some tenths of a millisecond meanwhile
WORTHLESS_NS: Final = 200_000_000  # an answer that took longer says too little about when it was given


class ServerClock:
    """Clock. Steps when the server's does; not when this machine's is set."""

    def __init__(self, link: NatsLink, own: Clock) -> None:
        self._link = link
        self._own = own
        self._ahead_ns = own.wall_ns() - own.steady_ns()  # of the steady clock

    def wall_ns(self) -> int:
        """See Clock."""
        return self._own.steady_ns() + self._ahead_ns

    def steady_ns(self) -> int:
        """See Clock."""
        return self._own.steady_ns()

    async def sleep(self, seconds: float) -> None:
        """See Clock."""
        await self._own.sleep(seconds)

    async def ask(self) -> None:
        """Take the server's time. Raises StorageError."""
        asked_ns = self._own.steady_ns()
        server_ns = nanoseconds((await self._link.info("leases"))["ts"])
        answered_ns = self._own.steady_ns()
        if answered_ns - asked_ns < WORTHLESS_NS:
            self._ahead_ns = server_ns - (asked_ns + answered_ns) // 2

    async def keep(self) -> None:
        """Ask again and again, until cancelled; while the server is away time goes on by the steady clock."""
        while True:
            await self._own.sleep(ASK_EVERY_S)
            try:
                await self.ask()
            except StorageError:
                continue


def nanoseconds(stamp: str) -> int:
    """The server's RFC 3339 time stamp, to the microsecond."""
    whole, _, fraction = stamp.rstrip("Z").partition(".")
    micro = (fraction + "000000")[:6]
    return round(datetime.fromisoformat(f"{whole}.{micro}+00:00").timestamp() * 1e6) * 1000
