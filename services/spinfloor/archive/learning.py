"""Beliefs across sorties: each recovery of a flight teaches the next sortie of the same aircraft, once."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Final

import structlog

from spinfloor.archive.withdrawals import withdrawn_of
from spinfloor.core.events import Event, Kind
from spinfloor.core.recovery.beliefs import Beliefs, Evidence
from spinfloor.detect.building import plan_of
from spinfloor.ports.beliefs import StoredBeliefs
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import StaleVersionError, StorageError
from spinfloor.ports.sorties import SortieKind, SortieRecord

LOOK_BACK_SORTIES: Final = 50
ATTEMPTS: Final = 20
REST_S: Final = 5.0

log = structlog.get_logger("spinfloor.archive")


class Learner:
    """Takes `recovered` events of flights into the belief store; rehearsals teach nothing."""

    def __init__(self, ports: Ports) -> None:
        self._ports = ports
        self._waiting: dict[str, SortieRecord] = {}  # each sortie once, however many recoveries it had meanwhile
        self._there = asyncio.Event()

    @property
    def waiting(self) -> int:
        """Sorties with a recovery that nobody has looked at yet."""
        return len(self._waiting)

    def on_events(self, record: SortieRecord, events: Sequence[Event]) -> None:
        """Hook of the detect side; returns at once."""
        if record.kind is SortieKind.FLIGHT and any(event.kind is Kind.RECOVERED for event in events):
            self._waiting[record.id] = record
            self._there.set()

    async def run(self) -> None:
        """Learn until cancelled; first what a crash may have left out."""
        for record in await self._latest():
            await self._try(record)
        while True:
            await self._there.wait()
            self._there.clear()
            while self._waiting:
                await self._try(self._waiting.pop(next(iter(self._waiting))))

    async def _latest(self) -> list[SortieRecord]:
        """The flights made last; a store that is away is waited for."""
        while True:
            try:
                return await self._ports.sorties.list_all(limit=LOOK_BACK_SORTIES, kind=SortieKind.FLIGHT)
            except StorageError as error:
                log.warning("learning waits", reason=error.sentence)
                await self._ports.clock.sleep(REST_S)

    async def _try(self, record: SortieRecord) -> None:
        try:
            await self.learn(record)
        # One sortie's trouble must not end the learning of the others; it is taken up again at the next start.
        except Exception:
            log.exception("not learnt", sortie=record.id)

    async def learn(self, record: SortieRecord) -> int:
        """Take in every recovery of a sortie that is not in the store yet; returns how many were taken."""
        # An event is told before it is on disk; by now it is, or it comes with the next look.
        spins = 0
        taken = 0
        kinds = {Kind.SPIN_STARTED.value, Kind.RECOVERED.value}
        after = -1
        while events := await self._ports.events.read(record.id, after=after, kinds=kinds):
            after = events[-1].sequence
            for event in events:
                if event.kind is Kind.SPIN_STARTED:
                    spins += 1
                    continue
                evidence = Evidence.of_event(event.as_record(), spins)
                if evidence is not None and await self._add(record, evidence):
                    taken += 1
        return taken

    async def _add(self, record: SortieRecord, evidence: Evidence) -> bool:
        for _ in range(ATTEMPTS):
            stored = await self._ports.beliefs.current(record.aircraft)
            beliefs = Beliefs.from_plan(plan_of(record)) if stored is None else Beliefs.from_json(stored.beliefs)
            learnt = beliefs.learn(evidence)
            if learnt is beliefs or await self._known(record.aircraft, beliefs, evidence):
                return False
            try:
                await self.store(record.aircraft, stored, learnt, cause_key=f"{evidence.sortie}:{evidence.spin}")
            except StaleVersionError:
                continue
            return True
        raise StaleVersionError(
            expected=f"to be the one who stores beliefs of {record.aircraft}",
            got=f"{ATTEMPTS} others in a row",
            now="it is tried again at the next start",
        )

    async def _known(self, aircraft: str, beliefs: Beliefs, evidence: Evidence) -> bool:
        """The same recovery in another sortie, also one that was withdrawn: a flight imported under another name, or sent
        into two. It would make the tool surer than it may be."""
        out = [one.evidence for one in await withdrawn_of(self._ports, aircraft, beliefs)]
        return any(
            one.time_ns == evidence.time_ns and one.values == evidence.values for one in (*beliefs.evidence, *out)
        )

    async def store(
        self, aircraft: str, before: StoredBeliefs | None, beliefs: Beliefs, *, cause_key: str
    ) -> StoredBeliefs:
        """Add the next version."""
        return await self._ports.beliefs.add(
            aircraft,
            expected_version=0 if before is None else before.version,
            beliefs=beliefs.as_json(),
            cause={"key": cause_key, "reset_reason": beliefs.reset_reason},
            cause_key=cause_key,
            created_ns=self._ports.clock.wall_ns(),
        )
