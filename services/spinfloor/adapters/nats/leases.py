"""Leases in a JetStream key-value bucket.

One key per sortie holds the owner, how long the lease lasts and its fence. The age of a lease is told by the server's
clock alone (its time stamp of the newest write against its clock now), so no process's clock matters. Taking over is a
write with the expected revision, and ends with raising the fence on the sortie's event subjects: whoever owned it
before can write no event after the new owner has its grant.

No renewal waits for the disk (one a half second for each sortie would be a tenth of all syncs): a lease that is lost with the
server's machine is taken over late, no more. What must not be lost is the highest fence, and that lies with the events,
each of which is on the disk when it is acknowledged; a new fence is above it, whatever the leases say. (A server that lost
leases numbers new ones as it did the lost; a renewal of a former owner may pass by that. Its next event does not.)

Those who stand by hear every renewal, and ask the server only when one has failed to come for a lease's length; so
standing by costs next to nothing, and a lease given up is heard at once. What they hear only saves questions.
"""

from __future__ import annotations

import json
from typing import Any, Final

from nats.aio.msg import Msg

from spinfloor.adapters.nats.connection import NatsLink, Stored, WrongLastSequence, translated
from spinfloor.adapters.nats.fences import Fences
from spinfloor.adapters.nats.server_clock import nanoseconds
from spinfloor.ports.clock import Clock
from spinfloor.ports.errors import LeaseLostError
from spinfloor.ports.leases import Grant, lease_lost

_SECOND_NS: Final = 1_000_000_000


class NatsLeases:
    """Leases."""

    def __init__(self, link: NatsLink, fences: Fences, clock: Clock) -> None:
        self._link = link
        self._clock = clock
        self._fences = fences
        self._revisions: dict[tuple[str, str, int], int] = {}  # (sortie, owner, fence): revision of our own last write
        self._heard: dict[str, tuple[str, int]] = {}  # sortie: (owner, steady clock until when it surely holds)
        self._listening = False

    def _key(self, sortie: str) -> str:
        return f"{self._link.names.prefix}.ls.{sortie}"

    async def acquire(self, sortie: str, owner: str, *, ttl_s: float) -> Grant | None:
        """See Leases."""
        await self._listen()
        holder, until_ns = self._heard.get(sortie, (owner, 0))
        if holder != owner and self._clock.steady_ns() < until_ns:
            return None
        there = await self._link.newest("leases", self._key(sortie))
        if there is not None and not await self._free(there, owner):
            return None
        revision = 0 if there is None else there.position
        record = {"owner": owner, "ttl_s": ttl_s}
        try:
            revision = await self._link.publish(self._key(sortie), json.dumps(record).encode(), last=revision)
        except WrongLastSequence:
            return None  # somebody was quicker
        fence = await self._fences.next_one(sortie, revision)
        self._revisions[(sortie, owner, fence)] = revision
        grant = Grant(sortie, owner, fence, self._clock.wall_ns() + int(ttl_s * _SECOND_NS))
        try:
            await self._fences.enter(sortie, fence)
            return grant if fence == revision else await self.renew(grant, ttl_s=ttl_s)
        except LeaseLostError:
            return None

    async def _listen(self) -> None:
        if not self._listening:
            with translated("listening"):
                await self._link.client.subscribe(self._key("*"), cb=self._hear)
            self._listening = True

    async def _hear(self, message: Msg) -> None:
        sortie = message.subject.rpartition(".")[2]
        try:
            record = json.loads(message.data)
            owner, ttl_s = str(record["owner"]), float(record["ttl_s"])
        except (ValueError, KeyError, TypeError):
            return
        if ttl_s <= 0:
            self._heard.pop(sortie, None)
        else:
            self._heard[sortie] = (owner, self._clock.steady_ns() + int(ttl_s * _SECOND_NS))

    async def _free(self, there: Stored, owner: str) -> bool:
        record: dict[str, Any] = json.loads(there.data)
        if record["owner"] == owner or record["ttl_s"] <= 0:
            return True
        now_ns = nanoseconds((await self._link.info("leases"))["ts"])
        return bool(now_ns - there.time_ns > record["ttl_s"] * _SECOND_NS)

    async def renew(self, grant: Grant, *, ttl_s: float) -> Grant:
        """See Leases."""
        await self._write(grant, ttl_s)
        return Grant(grant.sortie, grant.owner, grant.fence, self._clock.wall_ns() + int(ttl_s * _SECOND_NS))

    async def _write(self, grant: Grant, ttl_s: float) -> None:
        who = (grant.sortie, grant.owner, grant.fence)
        record = {"owner": grant.owner, "ttl_s": ttl_s, "fence": grant.fence}
        revision = self._revisions.get(who, grant.fence)
        try:
            revision = await self._link.publish(self._key(grant.sortie), json.dumps(record).encode(), last=revision)
        except WrongLastSequence:
            revision = await self._own_revision(grant)
            revision = await self._again(grant, record, revision)
        self._revisions[who] = revision

    async def _again(self, grant: Grant, record: dict[str, Any], revision: int) -> int:
        """An answer of ours was lost with the line: the newest write is our own after all."""
        try:
            return await self._link.publish(self._key(grant.sortie), json.dumps(record).encode(), last=revision)
        except WrongLastSequence:
            raise lease_lost(grant.sortie) from None

    async def _own_revision(self, grant: Grant) -> int:
        there = await self._link.newest("leases", self._key(grant.sortie))
        if there is not None:
            record = json.loads(there.data)
            if record["owner"] == grant.owner and record.get("fence", there.position) == grant.fence:
                return there.position
        self._revisions.pop((grant.sortie, grant.owner, grant.fence), None)
        raise lease_lost(grant.sortie)

    async def release(self, grant: Grant) -> None:
        """See Leases."""
        try:
            await self._write(grant, 0.0)
        except LeaseLostError:
            return
        finally:
            self._revisions.pop((grant.sortie, grant.owner, grant.fence), None)
