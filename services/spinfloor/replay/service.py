"""All replays of a process."""

from __future__ import annotations

import asyncio
import contextlib
import secrets
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import numpy as np

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import Recording, read_recording
from spinfloor.core.detector.detector import Detector
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.defaults import default_plan
from spinfloor.core.plan.load import plan_from
from spinfloor.core.plan.model import Plan
from spinfloor.detect.messages import moved_subject
from spinfloor.ingest.service import Ingest
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import SortieExistsError
from spinfloor.replay.crew import with_crew_response
from spinfloor.replay.library import LibraryEntry, find, read_library
from spinfloor.replay.model import Fault, NewReplay, ReplayPatch
from spinfloor.replay.player import Player

REPLAYS_AT_MOST: Final = 32

NAMES_TRIED: Final = 100

MakeSortie = Callable[[Plan, str | None, dict[str, Any]], Awaitable[str]]


class UnknownReplayError(SpinfloorError):
    """No replay of that name."""

    code = "unknown-replay"
    http_status = 404


class BadReplayError(SpinfloorError):
    """The replay asked for can't be played."""

    code = "bad-replay"
    http_status = 422


class TooManyReplaysError(SpinfloorError):
    """The process plays as many as it may."""

    code = "too-many-replays"
    http_status = 429


@dataclass(slots=True)
class Replay:
    """One recording being played; `sortie` is where it goes now, `turn` counts the seeks back (and rounds)."""

    id: str
    recording: str
    title: str
    plan: Plan
    block: FrameBlock
    base: str
    player: Player
    task: asyncio.Task[None]
    loop: bool
    crew_response_turns: int = 0
    turn: int = 1
    changing: asyncio.Lock = field(default_factory=asyncio.Lock)

    @property
    def sortie(self) -> str:
        """The sortie it plays into now."""
        return self.player.sortie

    def as_record(self) -> dict[str, object]:
        """For the answers."""
        player = self.player
        state = "ended" if player.ended else ("paused" if player.paused else "playing")
        return {
            "id": self.id,
            "recording": self.recording,
            "title": self.title,
            "sortie": self.sortie,
            "state": state,
            "speed": player.speed,
            "position_s": round(min(player.position_s, player.length_s), 3),
            "length_s": round(player.length_s, 3),
            "loop": self.loop,
            "crew_response_turns": self.crew_response_turns,
            "faults": [fault.model_dump(exclude_none=True) for fault in player.faults],
            "trouble": player.trouble,
        }


class Replays:
    """Starts, changes and stops replays. `make_sortie` stores a new rehearsal sortie and returns its id, or raises
    SortieExistsError."""

    def __init__(self, ports: Ports, ingest: Ingest, folders: Sequence[Path], make_sortie: MakeSortie) -> None:
        self._ports = ports
        self._ingest = ingest
        self._folders = tuple(folders)
        self._make_sortie = make_sortie
        self._replays: dict[str, Replay] = {}

    async def recordings(self) -> list[LibraryEntry]:
        """The library."""
        return await asyncio.to_thread(read_library, self._folders)

    async def recording(self, recording: str) -> tuple[LibraryEntry, Plan]:
        """One recording and the plan it is played with when no other is given. Raises UnknownRecordingError."""
        entry = await asyncio.to_thread(find, self._folders, recording)
        return entry, await self._plan(entry, None)

    async def frames_of(self, recording: str, plan: Plan, crew_response_turns: int) -> FrameBlock:
        """A recording's undisturbed frames as they would be played. Raises UnknownRecordingError."""
        entry = await asyncio.to_thread(find, self._folders, recording)
        return await asyncio.to_thread(_frames, entry, plan, crew_response_turns)

    def all(self) -> list[Replay]:
        """Every replay not stopped, oldest first."""
        return list(self._replays.values())

    def get(self, replay: str) -> Replay:
        """One by id. Raises UnknownReplayError."""
        if replay not in self._replays:
            raise UnknownReplayError(
                expected="the id of a replay", got=f"the unknown id {replay!r}", now="nothing was done"
            )
        return self._replays[replay]

    async def start(self, new: NewReplay) -> Replay:
        """Make a rehearsal sortie and play. Raises our errors for an unknown recording, a bad plan or bad faults."""
        _check_faults(new.faults)
        self._make_room()
        entry = await asyncio.to_thread(find, self._folders, new.recording)
        plan = await self._plan(entry, new.plan)
        block = await asyncio.to_thread(_frames, entry, plan, new.crew_response_turns)
        notes: dict[str, Any] = {
            "recording": entry.id,
            "recording_title": entry.title,
            "faults": [fault.model_dump(exclude_none=True) for fault in new.faults],
            "crew_response_turns": new.crew_response_turns,
        }
        sortie = await self._make_sortie(plan, new.sortie, notes)
        identity = secrets.token_hex(4)
        player = self._player(identity, block, sortie)
        player.speed, player.paused = new.speed, new.paused
        await player.set_faults(list(new.faults))
        if new.position_s > 0.0:
            await player.skip_to(new.position_s)
        task = _play(player)
        replay = Replay(
            identity, entry.id, entry.title, plan, block, sortie, player, task, new.loop, new.crew_response_turns
        )
        self._replays[identity] = replay
        return replay

    async def change(self, replay: str, patch: ReplayPatch) -> Replay:
        """Speed, pause, seek, faults, in that order. Seeking back goes on in a fresh sortie."""
        _check_faults(patch.faults or ())
        async with self.get(replay).changing:
            found = self.get(replay)
            if patch.faults is not None:
                await found.player.set_faults(list(patch.faults))
                await self._note_faults(found.player)
            if patch.position_s is not None:
                if patch.position_s >= found.player.position_s and not found.player.ended:
                    await found.player.skip_to(patch.position_s)
                else:
                    await self._again(found, patch.position_s)
            if patch.speed is not None or patch.paused is not None:
                found.player.set_pace(speed=patch.speed, paused=patch.paused)
            return found

    async def _note_faults(self, player: Player) -> None:
        """The sortie's notes keep every fault that was ever set, for the score sheet."""
        notes = (await self._ports.sorties.get(player.sortie)).notes
        before = notes.get("faults")
        kept = before if isinstance(before, list) else []
        set_now = [fault.model_dump(exclude_none=True) for fault in player.faults]
        await self._ports.sorties.note(player.sortie, {"faults": [*kept, *(f for f in set_now if f not in kept)]})

    async def stop(self, replay: str) -> Replay:
        """Stop and forget; the sortie stays."""
        async with self.get(replay).changing:
            found = self.get(replay)
            await _cancel(found.task)
            del self._replays[replay]
            return found

    async def close(self) -> None:
        """Stop all."""
        for replay in list(self._replays):
            await self.stop(replay)

    def _make_room(self) -> None:
        if len(self._replays) < REPLAYS_AT_MOST:
            return
        for identity in [r.id for r in self._replays.values() if r.player.ended]:
            del self._replays[identity]
        if len(self._replays) >= REPLAYS_AT_MOST:
            raise TooManyReplaysError(
                expected=f"at most {REPLAYS_AT_MOST} replays at once",
                got="one more",
                now="stop one that is playing first",
            )

    async def _plan(self, entry: LibraryEntry, given: dict[str, Any] | None) -> Plan:
        if given is not None:
            return plan_from(given)
        return default_plan() if entry.plan is None else await asyncio.to_thread(load_plan, entry.plan)

    def _player(self, identity: str, block: FrameBlock, sortie: str) -> Player:
        async def at_end() -> None:
            replay = self._replays.get(identity)
            if replay is not None and replay.loop:
                async with replay.changing:
                    await self._again(replay, 0.0)

        return Player(block, sortie, self._ingest, self._ports.bus, self._ports.clock, at_end)

    async def _again(self, replay: Replay, position_s: float) -> None:
        """From a position in a fresh sortie, because time doesn't run back within one."""
        before = replay.player
        notes: dict[str, Any] = {
            "recording": replay.recording,
            "recording_title": replay.title,
            "faults": [fault.model_dump(exclude_none=True) for fault in before.faults],
            "crew_response_turns": replay.crew_response_turns,
            "continues": before.sortie,
        }
        sortie = await self._next_sortie(replay, notes)
        player = self._player(replay.id, replay.block, sortie)
        player.speed, player.paused = before.speed, before.paused
        await player.set_faults(before.faults)
        await player.skip_to(position_s)
        task, replay.player = replay.task, player
        replay.task = _play(player)
        await self._ports.bus.publish(moved_subject(before.sortie), sortie.encode())
        if task is not asyncio.current_task():
            await _cancel(task)

    async def _next_sortie(self, replay: Replay, notes: dict[str, Any]) -> str:
        """`base-2`, `base-3`, …, past names that somebody else has given."""
        for _ in range(NAMES_TRIED):
            replay.turn += 1
            with contextlib.suppress(SortieExistsError):
                return await self._make_sortie(replay.plan, f"{replay.base}-{replay.turn}", notes)
        return await self._make_sortie(replay.plan, None, notes)


def _play(player: Player) -> asyncio.Task[None]:
    return asyncio.create_task(player.run(), name=f"replay-{player.sortie}")


async def _cancel(task: asyncio.Task[None]) -> None:
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


def _check_faults(faults: Sequence[Fault]) -> None:
    for place, fault in enumerate(faults):
        lacking = fault.lacking()
        if lacking is not None:
            raise BadReplayError(
                expected=f"{lacking} with the fault {fault.kind} (faults[{place}])",
                got="none",
                now="nothing was changed",
            )
        if fault.to_s is not None and fault.to_s <= fault.from_s:
            raise BadReplayError(
                expected=f"an end after the beginning at {fault.from_s:g} s with the fault {fault.kind} (faults[{place}])",
                got=f"{fault.to_s:g} s",
                now="nothing was changed",
            )


def _frames(entry: LibraryEntry, plan: Plan, crew_response_turns: int) -> FrameBlock:
    block = _in_order(read_recording(entry.path, plan.channel_map), entry)
    if crew_response_turns == 0:
        return block
    return with_crew_response(block, Detector(sortie="response", plan=plan).feed(block), crew_response_turns)


def _in_order(recording: Recording, entry: LibraryEntry) -> FrameBlock:
    """Playing goes by the time stamps; frames whose time runs back are played in the order of time."""
    block = recording.block
    if len(block) < 2:
        raise BadReplayError(
            expected="a recording of at least two frames", got=f"{len(block)} in {entry.id}", now="nothing was started"
        )
    if bool((np.diff(block.time_ns) >= 0).all()):
        return block
    order = np.argsort(block.time_ns, kind="stable")
    return FrameBlock(block.time_ns[order], np.ascontiguousarray(block.values[order]))
