"""Keeps a runtime for every sortie that needs one: starts, restarts after trouble, lets quiet ones go."""

from __future__ import annotations

import asyncio
import contextlib
import uuid
from dataclasses import dataclass, field
from typing import Final

import structlog

from spinfloor.core.errors import SpinfloorError
from spinfloor.detect.messages import live_subject
from spinfloor.detect.runtime import EventHook, SortieRuntime
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import LeaseLostError, StorageError
from spinfloor.ports.leases import Grant
from spinfloor.ports.sorties import SortieRecord

QUIET_AFTER_S: Final = 900.0
LET_GO_AFTER_S: Final = 4 * 3600.0  # even when somebody may still be looking

log = structlog.get_logger("spinfloor.detect")


@dataclass(frozen=True, slots=True)
class Pace:
    """Lease and retry times. The defaults suit one process; several take over from each other sooner (SPREAD_PACE)."""

    lease_s: float = 10.0
    renew_every_s: float = 3.0
    retry_first_s: float = 0.2
    retry_longest_s: float = 10.0


SPREAD_PACE: Final = Pace(lease_s=2.0, renew_every_s=0.5, retry_first_s=0.1, retry_longest_s=1.0)


@dataclass(slots=True)
class _Slot:
    task: asyncio.Task[None]
    record: SortieRecord | None = None
    runtime: SortieRuntime | None = None
    trouble: str | None = None
    ready: asyncio.Event = field(default_factory=asyncio.Event)


class Supervisor:
    """Runs detectors in this process. One task per sortie; a failing one is restarted with growing pauses."""

    def __init__(
        self,
        ports: Ports,
        *,
        on_events: EventHook | None = None,
        owner: str | None = None,
        pace: Pace | None = None,
    ) -> None:
        self._ports = ports
        self._pace = pace or Pace()
        self._on_events = on_events
        self._owner = owner or f"detect-{uuid.uuid4().hex[:12]}"
        self._slots: dict[str, _Slot] = {}
        self._closing = False
        self.warm = asyncio.Event()  # set once the kernel is compiled; until then no detector would do but wait for it

    @property
    def running(self) -> dict[str, SortieRuntime]:
        """The sorties that have a detector at work here."""
        return {sortie: slot.runtime for sortie, slot in self._slots.items() if slot.runtime is not None}

    def waiting(self) -> int:
        """Events and checkpoints of all sorties that are not on disk yet."""
        return sum(runtime.waiting for runtime in self.running.values())

    def events_made(self) -> int:
        """Events made by the detectors at work."""
        return sum(runtime.events_made for runtime in self.running.values())

    def trouble(self, sortie: str) -> str | None:
        """What stopped the sortie's detector last, None while it runs."""
        slot = self._slots.get(sortie)
        return None if slot is None else slot.trouble

    async def start(self) -> int:
        """Take up every sortie whose newest inputs have not been through the detector; returns how many."""
        taken = 0
        records = await self._ports.sorties.list_all()
        while records:
            for record in records:
                if await self._behind(record.id):
                    self.ensure(record.id)
                    taken += 1
            records = await self._ports.sorties.list_all(before=records[-1].id)
        return taken

    async def _behind(self, sortie: str) -> bool:
        """Whether inputs wait for the detector; a sortie whose data can't be read is taken up, so that its trouble shows."""
        try:
            newest = await self._ports.inputs.newest_offset(sortie)
            checkpoint = await self._ports.checkpoints.newest(sortie)
        except SpinfloorError as error:
            log.warning("sortie can't be looked at", sortie=sortie, reason=error.sentence)
            return True
        return newest > (-1 if checkpoint is None else checkpoint.offset)

    def ensure(self, sortie: str) -> None:
        """See to it that the sortie has a detector; returns at once."""
        if sortie not in self._slots and not self._closing:
            slot = _Slot(asyncio.create_task(self._keep(sortie), name=f"detect-{sortie}"))
            self._slots[sortie] = slot

    async def runtime(self, sortie: str, *, timeout_s: float = 10.0) -> SortieRuntime | None:
        """The sortie's runtime, started when need be; None when it can't be had in time (another owner, trouble)."""
        self.ensure(sortie)
        slot = self._slots.get(sortie)
        if slot is None:
            return None
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(slot.ready.wait(), timeout_s)
        return slot.runtime

    async def close(self) -> None:
        """Stop every detector, each saved."""
        self._closing = True
        slots = list(self._slots.values())
        for slot in slots:
            slot.task.cancel()
        await asyncio.gather(*(slot.task for slot in slots), return_exceptions=True)
        self._slots.clear()

    async def _keep(self, sortie: str) -> None:
        pause = self._pace.retry_first_s
        while True:
            slot = self._slots[sortie]
            try:
                if await self._once(sortie, slot):
                    del self._slots[sortie]
                    return
                pause = self._pace.retry_first_s
            except LeaseLostError as exc:
                slot.trouble = exc.sentence
                log.warning("lease lost", sortie=sortie)
            except StorageError as exc:
                slot.trouble = exc.sentence
                log.warning("detector stopped", sortie=sortie, reason=exc.sentence, again_in_s=pause)
            # A defect in one sortie's detector must not stop the others; it is shown, logged and tried again.
            except Exception as exc:
                slot.trouble = exc.sentence if isinstance(exc, SpinfloorError) else f"{type(exc).__name__}: {exc}"
                log.exception("detector stopped", sortie=sortie, again_in_s=pause)
            slot.runtime = None
            slot.ready.clear()
            await self._ports.clock.sleep(pause)
            pause = min(pause * 2.0, self._pace.retry_longest_s)

    async def _once(self, sortie: str, slot: _Slot) -> bool:
        """Own the sortie and run it. True: it went quiet and was let go."""
        await self.warm.wait()
        # Kept, so that standing by asks the archive nothing and a sortie can be taken over while the archive is away.
        record = slot.record = slot.record or await self._ports.sorties.get(sortie)
        asked_ns = self._ports.clock.steady_ns()
        grant = await self._ports.leases.acquire(sortie, self._owner, ttl_s=self._pace.lease_s)
        if grant is None:
            slot.trouble = "another detector owns this sortie"
            return False
        runtime = SortieRuntime(self._ports, record, grant, on_events=self._on_events)
        runtime.held_until_ns = asked_ns + int(self._pace.lease_s * 1e9)
        work = asyncio.create_task(runtime.run(), name=f"runtime-{sortie}")
        try:
            resumed = asyncio.create_task(runtime.resumed.wait())
            await asyncio.wait({work, resumed}, return_when=asyncio.FIRST_COMPLETED)
            resumed.cancel()
            if work.done():
                _raise_of(work)  # it could not even begin
            slot.runtime, slot.trouble = runtime, None
            slot.ready.set()
            quiet = await self._watch(runtime, grant, work)
        finally:
            await self._end(runtime, work, grant)
        return quiet

    async def _watch(self, runtime: SortieRuntime, grant: Grant, work: asyncio.Task[None]) -> bool:
        """Renew the lease until the work ends (its error is raised) or has nothing to do (True)."""
        while True:
            pause = asyncio.create_task(self._ports.clock.sleep(self._pace.renew_every_s))
            await asyncio.wait({work, pause}, return_when=asyncio.FIRST_COMPLETED)
            pause.cancel()
            if work.done():
                _raise_of(work)
                return False
            asked_ns = self._ports.clock.steady_ns()
            grant = await self._ports.leases.renew(grant, ttl_s=self._pace.lease_s)
            runtime.held_until_ns = asked_ns + int(self._pace.lease_s * 1e9)
            silent_s = (self._ports.clock.steady_ns() - runtime.last_used_steady_ns) * 1e-9
            unwatched = silent_s > LET_GO_AFTER_S or not self._ports.bus.listened(live_subject(runtime.record.id))
            if silent_s > QUIET_AFTER_S and unwatched:
                return True

    async def _end(self, runtime: SortieRuntime, work: asyncio.Task[None], grant: Grant) -> None:
        healthy = not work.done()
        work.cancel()
        await asyncio.gather(work, return_exceptions=True)
        if healthy:
            # Cancelled from outside or gone quiet: save, unless the lease or the disk is gone.
            with contextlib.suppress(SpinfloorError):
                await runtime.close()
                await self._ports.leases.release(grant)


def _raise_of(work: asyncio.Task[None]) -> None:
    error = work.exception()
    while isinstance(error, BaseExceptionGroup):
        error = error.exceptions[0]
    if error is not None:
        raise error
