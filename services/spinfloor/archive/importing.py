"""A sortie's archive into the stores: checked as a whole, its events made again and compared, and only then stored.

Nothing is stored before all of that has passed. Storing takes the sortie's lease, so that no detector takes it up in
the middle; if the machine dies meanwhile, the same archive imported again goes on where it stopped.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from spinfloor.adapters.sortie_file import SortieFile, layout, open_archive
from spinfloor.archive.bench import PIECE_FRAMES, PIECE_INPUTS, Bench, Made
from spinfloor.archive.comparing import Comparison, compare
from spinfloor.archive.rerun_worker import Start
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Event
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.bundle import Ports
from spinfloor.ports.checkpoints import Checkpoint
from spinfloor.ports.errors import SortieExistsError, UnknownSortieError
from spinfloor.ports.events import RERUN_PREFIX
from spinfloor.ports.inputs import FramesInput, Input
from spinfloor.ports.leases import Grant
from spinfloor.ports.sorties import SortieRecord
from spinfloor.ports.wire import encode_input

LEASE_S: Final = 60.0
STORE_FRAMES: Final = 4_000  # about half a megabyte: the disk is not taken away from flights for long
STORE_INPUTS: Final = 256
EVENTS_AT_ONCE: Final = 1_000


class NotReproducedError(SpinfloorError):
    """The archive is undamaged, but the same detector makes other events from it."""

    code = "not-reproduced"
    http_status = 409
    exit_code = 1


@dataclass(frozen=True, slots=True)
class Imported:
    """What became of an archive. comparison: of the archived run with the one made here."""

    sortie: str
    resumed: bool
    run: str | None
    comparison: Comparison
    inputs: int
    frames: int

    def as_record(self) -> dict[str, object]:
        """For the answer."""
        return {
            "sortie": self.sortie, "run": self.run, "inputs": self.inputs, "frames": self.frames,
            "resumed": self.resumed, **self.comparison.as_record(),
        }  # fmt: skip


async def import_sortie(
    ports: Ports, bench: Bench, path: Path, folder: Path, *, sortie: str | None, keep_differences: bool, by: str
) -> Imported:
    """Import the archive at `path`; folder: an empty one to unpack into; sortie: another id than its own.

    Raises ArchiveError for a damaged file, SortieExistsError, NotReproducedError unless keep_differences; then nothing
    was stored.
    """
    opened = await asyncio.to_thread(open_archive, path, folder)
    identity = sortie or opened.manifest.sortie
    resumed = await _may_begin(ports, identity, opened)
    archived = [replace(event, sortie=identity) for event in await asyncio.to_thread(opened.events)]
    start = Start(identity, opened.plan_data, opened.beliefs)
    made = await bench.make(start, _pieces(opened, PIECE_FRAMES, PIECE_INPUTS))
    comparison = compare(archived, made, complete=opened.manifest.complete, run=opened.manifest.run)
    if comparison.outcome == "different" and not keep_differences:
        raise NotReproducedError(
            expected="the detector here to make the archived events from the archived inputs",
            got=comparison.words,
            now="nothing was imported; ask for it with its differences to look at both runs",
            first_difference=comparison.first_difference,
        )
    await _Storing(ports, opened, identity, by).store(archived, made, comparison)
    manifest = opened.manifest
    run = manifest.run or made.run
    return Imported(identity, resumed, run, comparison, manifest.inputs, manifest.frames)


def _mark_of(opened: SortieFile) -> str:
    """What makes an archive the same one when it is imported again after a broken-off import."""
    return opened.manifest.parts[layout.INPUTS].sha256 + opened.manifest.parts[layout.FRAMES].sha256


async def _may_begin(ports: Ports, sortie: str, opened: SortieFile) -> bool:
    """False for a new sortie, True for the rest of a broken-off import. Raises SortieExistsError."""
    try:
        there = await ports.sorties.get(sortie)
    except UnknownSortieError:
        return False
    state = there.notes.get("imported")
    if isinstance(state, dict) and not state.get("whole") and state.get("of") == _mark_of(opened):
        return True
    raise SortieExistsError(
        expected="a sortie id that is free here",
        got=f"the id {sortie!r}, which is taken",
        now="nothing was imported and the sortie that is there is unchanged; import under another id",
        sortie=sortie,
    )


async def _pieces(opened: SortieFile, frames: int, inputs: int) -> AsyncIterator[Sequence[Input]]:
    """The archive's inputs, so many at a time; the file is read on a thread."""
    source = opened.inputs()
    try:
        while piece := await asyncio.to_thread(_piece, source, frames, inputs):
            yield piece
    finally:
        await asyncio.to_thread(source.close)


def _piece(source: Any, frames: int, inputs: int) -> list[Input]:
    piece: list[Input] = []
    count = 0
    for one in source:
        piece.append(one)
        count += len(one.block) if isinstance(one, FramesInput) else 0
        if count >= frames or len(piece) >= inputs:
            break
    return piece


class _Storing:
    """Everything that is written for one import, under the sortie's lease."""

    def __init__(self, ports: Ports, opened: SortieFile, sortie: str, by: str) -> None:
        self._ports = ports
        self._opened = opened
        self._sortie = sortie
        self._by = by

    async def store(self, archived: Sequence[Event], made: Made, comparison: Comparison) -> None:
        """Sortie, inputs, events, checkpoint, actions, in this order; whole at the end."""
        grant = await self._ports.leases.acquire(self._sortie, f"import-{secrets.token_hex(6)}", ttl_s=LEASE_S)
        if grant is None:
            raise SortieExistsError(
                expected=f"the id {self._sortie!r} to be free", got="a detector at work on it", now="nothing was stored"
            )
        try:
            await self._begin()
            await self._inputs(grant)
            await self._runs(grant, archived, made, comparison)
            await self._actions(comparison)
            await self._note({"whole": True, **comparison.as_record()})
        finally:
            await self._ports.leases.release(grant)

    async def _begin(self) -> None:
        manifest, opened = self._opened.manifest, self._opened
        record = SortieRecord(
            id=self._sortie, kind=manifest.kind, created_ns=manifest.created_ns, aircraft=manifest.aircraft,
            plan=opened.plan_data, beliefs=opened.beliefs, belief_version=manifest.belief_version,
            notes={**opened.notes, "imported": self._imported({"whole": False})},
        )  # fmt: skip
        await self._ports.sorties.create(record)

    def _imported(self, state: dict[str, Any]) -> dict[str, Any]:
        return {"of": _mark_of(self._opened), "from": self._opened.manifest.sortie, "by": self._by, **state}

    async def _note(self, state: dict[str, Any]) -> None:
        await self._ports.sorties.note(self._sortie, {"imported": self._imported(state)})

    async def _inputs(self, grant: Grant) -> None:
        there = await self._there()
        async for piece in _pieces(self._opened, STORE_FRAMES, STORE_INPUTS):
            known, there = min(there, len(piece)), max(there - len(piece), 0)
            await self._ports.inputs.append_all(self._sortie, piece[known:])
            await self._ports.leases.renew(grant, ttl_s=LEASE_S)

    async def _there(self) -> int:
        """How many of the archive's inputs a broken-off import has left here; they are the archive's first ones."""
        count, after = 0, -1
        source = self._opened.inputs()
        while entries := await self._ports.inputs.read(self._sortie, after=after):
            after = entries[-1].offset
            for entry in entries:
                one = next(source, None)
                if one is None or encode_input(one) != encode_input(entry.input):
                    raise SortieExistsError(
                        expected="the beginning of this archive under its id",
                        got="other inputs",
                        now="nothing more was stored; import it under another id",
                        sortie=self._sortie,
                    )
            count += len(entries)
        return count

    async def _runs(self, grant: Grant, archived: Sequence[Event], made: Made, comparison: Comparison) -> None:
        journal, run = self._ports.events, self._opened.manifest.run or made.run
        flown = [replace(e, run=run) for e in made.events] if comparison.ours else list(archived)
        for first in range(0, len(flown), EVENTS_AT_ONCE):
            await journal.append(flown[first : first + EVENTS_AT_ONCE], fence=grant.fence)
            await self._ports.leases.renew(grant, ttl_s=LEASE_S)
        await journal.open_run(self._sortie, run, fence=grant.fence)
        for name, events in _by_run(await asyncio.to_thread(self._opened.reruns), self._sortie).items():
            await journal.add_rerun(self._sortie, name, events)
        if not comparison.ours:
            aside = f"{RERUN_PREFIX}{made.run}-here"
            await journal.add_rerun(self._sortie, aside, [replace(e, run=aside) for e in made.events])
        newest = await self._ports.inputs.newest_offset(self._sortie)
        state = made.state if comparison.ours and made.state is not None else b""
        saved = Checkpoint(self._sortie, run, newest, len(flown), state)
        await self._ports.checkpoints.save(saved, fence=grant.fence)

    async def _actions(self, comparison: Comparison) -> None:
        for action in self._opened.actions[await self._actions_there() :]:
            data = action.get("data")
            kept = {**(data if isinstance(data, dict) else {}), "imported": True}
            at_ns = action.get("at_ns")
            record = AuditRecord(
                at_ns if isinstance(at_ns, int) else 0, str(action.get("by", ""))[:200],
                str(action.get("action", ""))[:80], self._sortie, kept,
            )  # fmt: skip
            await self._ports.audit.add(record)
        told: dict[str, Any] = {"from": self._opened.manifest.sortie, "reproduced": comparison.outcome}
        now = self._ports.clock.wall_ns()
        await self._ports.audit.add(AuditRecord(now, self._by, "sortie.imported", self._sortie, told))

    async def _actions_there(self) -> int:
        """How many of the archive's actions a broken-off import has left here; they are the archive's first ones."""
        count, after = 0, -1
        while page := await self._ports.audit.read(sortie=self._sortie, after=after):
            after = page[-1].position
            count += sum(record.data.get("imported") is True for record in page)
        return count


def _by_run(events: Sequence[Event], sortie: str) -> dict[str, list[Event]]:
    found: dict[str, list[Event]] = {}
    for event in events:
        found.setdefault(event.run, []).append(replace(event, sortie=sortie))
    return found
