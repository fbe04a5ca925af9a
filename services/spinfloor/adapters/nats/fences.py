"""Keeping out an owner who has lost a sortie: by the expected last sequence over all of the sortie's event subjects.

The newest message on `ev.<sortie>.fence` names the highest fence. Whoever raises it writes to the sortie's subjects,
so the expected sequence of every other writer is stale from that moment, and the server refuses its next write. That
writer then reads the fence, finds a higher one than its own, and stops.
"""

from __future__ import annotations

from dataclasses import dataclass

from spinfloor.adapters.nats.connection import NatsLink, WrongLastSequence
from spinfloor.ports.errors import StorageError
from spinfloor.ports.leases import lease_lost

TRIES = 20


@dataclass(slots=True)
class Tip:
    """What is known of a sortie's event subjects: position of the newest message on any of them, and the fence."""

    position: int
    fence: int


def contended(sortie: str) -> StorageError:
    """The error when others keep writing in between."""
    return StorageError(
        expected=f"to write events of sortie {sortie} alone",
        got=f"other writers {TRIES} times in a row",
        now="nothing was written; it is tried again",
        sortie=sortie,
    )


class Fences:
    """The tips of sorties' event subjects, as last heard, and raising their fences."""

    def __init__(self, link: NatsLink) -> None:
        self._link = link
        self._tips: dict[str, Tip] = {}

    async def tip(self, sortie: str) -> Tip:
        """As last heard, else read."""
        known = self._tips.get(sortie)
        if known is None:
            known = self._tips[sortie] = await self._read(sortie)
        return known

    def forget(self, sortie: str) -> None:
        """Read it again next time."""
        self._tips.pop(sortie, None)

    async def _read(self, sortie: str) -> Tip:
        """The fence is read last: one raised in between has moved the position on, and the write will be refused."""
        names = self._link.names
        newest = await self._link.newest("events", names.events(sortie))
        if newest is None:
            return Tip(0, -1)
        fence = await self._link.newest("events", names.events(sortie, "fence"))
        return Tip(newest.position, -1 if fence is None else int(fence.data))

    async def write(self, sortie: str, rest: str, data: bytes) -> None:
        """Store one message below the sortie if nobody else has written since the tip. Raises WrongLastSequence."""
        tip = await self.tip(sortie)
        names = self._link.names
        try:
            tip.position = await self._link.publish(
                names.events(sortie, rest), data, last=tip.position, over=names.events(sortie)
            )
        except (WrongLastSequence, StorageError):
            self.forget(sortie)
            raise

    async def next_one(self, sortie: str, position: int) -> int:
        """A fence above every one so far: `position` of the lease, unless the server lost leases with its machine."""
        self.forget(sortie)
        return max(position, (await self.tip(sortie)).fence + 1)

    async def enter(self, sortie: str, fence: int) -> None:
        """Make sure that `fence` is the highest, raising it where needed. Raises LeaseLostError when it is not."""
        for _ in range(TRIES):
            tip = await self.tip(sortie)
            if tip.fence > fence:
                raise lease_lost(sortie)
            if tip.fence == fence:
                return
            try:
                await self.write(sortie, "fence", str(fence).encode())
            except WrongLastSequence:
                continue
            tip.fence = fence
            return
        raise contended(sortie)

    async def check(self, sortie: str, fence: int) -> None:
        """Raises LeaseLostError when the server holds a higher fence; for writes that go elsewhere."""
        self.forget(sortie)
        if (await self.tip(sortie)).fence > fence:
            raise lease_lost(sortie)
