"""One sortie's detector at work: inputs in journalled order, events out, saved often enough to resume in a moment."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

import orjson
import structlog

from spinfloor.core.detector.detector import Detector
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Event
from spinfloor.core.frames import FrameBlock
from spinfloor.detect.applying import apply
from spinfloor.detect.building import build_detector, plan_of
from spinfloor.detect.journaling import EventWriter
from spinfloor.detect.messages import (
    event_message,
    events_subject,
    live_subject,
    played_subject,
    presence_subject,
    state_message,
)
from spinfloor.detect.silence import Silence, worth_ticking
from spinfloor.ports.bundle import Ports
from spinfloor.ports.checkpoints import Checkpoint
from spinfloor.ports.inputs import FramesInput, JournalEntry, TickInput
from spinfloor.ports.leases import Grant
from spinfloor.ports.sorties import SortieKind, SortieRecord

SNAPSHOT_EVERY_S: Final = 0.05
HEARTBEAT_EVERY_S: Final = 0.5  # also while frames come, when nobody watches
INLINE_FRAMES: Final = 2000  # about a millisecond of kernel; more goes to a worker thread
CHECKPOINT_INPUTS: Final = 512
CHECKPOINT_FRAMES: Final = 20_000

log = structlog.get_logger("spinfloor.detect")
EventHook = Callable[[SortieRecord, Sequence[Event]], None]


@dataclass(slots=True)
class _Unpublished:
    blocks: list[FrameBlock] = field(default_factory=list)
    changed: bool = True
    published_steady_ns: int = 0
    message: bytes | None = None
    watched: bytes = b""  # who watched, in that message
    presence: tuple[bytes, dict[str, Any]] = (b"", {})  # as last heard, and read


class SortieRuntime:
    """Owns the detector of one sortie for as long as it holds the lease."""

    def __init__(self, ports: Ports, record: SortieRecord, grant: Grant, *, on_events: EventHook | None = None) -> None:
        self._ports = ports
        self.record = record
        self.grant = grant
        self._on_events = on_events
        self.detector: Detector = build_detector(record)
        self.offset = -1
        self.events_made = 0
        self._next_sequence = 0
        self._looking_until: int | None = (
            None  # the newest input of a flown sortie that is only looked at: nothing is written
        )
        self._writer = EventWriter(ports, grant, self._written)
        self._silence = Silence(plan_of(record).timing.data_age_limit_s)
        self._fresh = _Unpublished()
        self._received_ns: int | None = None
        self._played_late_ns = 0  # by the word of a rehearsal's player
        self._unsaved_inputs = self._unsaved_frames = 0
        self.resumed = asyncio.Event()
        self._moved: list[asyncio.Future[None]] = []
        self.last_used_steady_ns = ports.clock.steady_ns()
        self.held_until_ns = 2**63 - 1  # steady clock; the supervisor keeps it

    @property
    def waiting(self) -> int:
        """Events and checkpoints not on disk yet."""
        return self._writer.depth

    # -- life ---------------------------------------------------------------------------------------------------

    async def run(self) -> None:
        """Resume and work until cancelled. Raises LeaseLostError and storage errors; the supervisor decides then."""
        await self._resume()
        self.resumed.set()
        async with asyncio.TaskGroup() as group:
            group.create_task(self._writer.run())
            group.create_task(self._tick())
            group.create_task(self._publish())
            while True:
                async for entries in self._ports.inputs.follow(self.record.id, after=self.offset):
                    if self._looking_until is not None and entries[-1].offset > self._looking_until:
                        break  # it is being flown on after all
                    await self._take(entries)
                await self._take_over()

    async def _resume(self) -> None:
        sortie, run = self.record.id, self.detector.run
        checkpoint = await self._ports.checkpoints.newest(sortie, run)
        if checkpoint is not None and self._restored(checkpoint):
            self.offset = checkpoint.offset
            self._next_sequence = checkpoint.next_sequence
            memo = orjson.loads(checkpoint.memo)
            if memo.get("frame_ns") is not None:
                self._remember(memo)
        if await self._ports.events.current_run(sortie) != run:
            self._looking_until = await self._flown_up_to()
            if self._looking_until is None:
                await self._ports.events.open_run(sortie, run, fence=self.grant.fence)
        log.info("detector resumed", sortie=sortie, run=run, offset=self.offset, looking=self._looking_until)

    async def _flown_up_to(self) -> int | None:
        """The newest input, when a detector of another version or settings has taken all of them: then the sortie is
        over as far as is known, its flown run stays in force, and this detector only shows the state."""
        flown = await self._ports.checkpoints.newest(self.record.id)
        newest = await self._ports.inputs.newest_offset(self.record.id)
        return newest if flown is not None and flown.run != self.detector.run and flown.offset >= newest else None

    async def _take_over(self) -> None:
        """New inputs came after a look: from the beginning, as the run in force."""
        self._looking_until = None
        self.detector, self.offset, self._next_sequence = build_detector(self.record), -1, 0
        await self._ports.events.open_run(self.record.id, self.detector.run, fence=self.grant.fence)

    def _restored(self, checkpoint: Checkpoint) -> bool:
        """False: damaged on the disk; all inputs are read again and give the same events again."""
        try:
            self.detector = Detector.restore(checkpoint.data)
        except (SpinfloorError, ValueError) as error:
            log.warning("checkpoint not used", sortie=self.record.id, reason=str(error))
            return False
        return True

    def _came(self, frame_ns: int, arrived_wall_ns: int) -> None:
        clock = self._ports.clock
        self._received_ns = arrived_wall_ns
        self._silence.came(
            frame_ns, arrived_wall_ns=arrived_wall_ns, wall_ns=clock.wall_ns(), steady_ns=clock.steady_ns()
        )

    def _remember(self, memo: dict[str, Any]) -> None:
        """When the newest frame came and how late frames were, before a restart."""
        self._came(memo["frame_ns"], memo["arrived_wall_ns"])
        clock, silence = self._ports.clock, self._silence
        if memo.get("least_lag_ns") is not None:
            steady_behind_ns = clock.wall_ns() - clock.steady_ns()
            silence.lateness.remember(memo["least_lag_ns"] - steady_behind_ns, silence.arrived_steady_ns)

    async def close(self) -> None:
        """Save once more; call after `run` has ended."""
        self._checkpoint()
        await self._writer.close()

    # -- inputs -------------------------------------------------------------------------------------------------

    async def _take(self, entries: list[JournalEntry]) -> None:
        place = 0
        while place < len(entries):
            stop = place + 1
            if isinstance(entries[place].input, FramesInput):
                while stop < len(entries) and isinstance(entries[stop].input, FramesInput):
                    stop += 1
                events = await self._feed([e.input for e in entries[place:stop] if isinstance(e.input, FramesInput)])
            else:
                events = self._other(entries[place])
            self.offset = entries[stop - 1].offset
            self._unsaved_inputs += stop - place
            if events:
                await self._emit(events)
            place = stop
        self._fresh.changed = True
        self.last_used_steady_ns = self._ports.clock.steady_ns()
        self._wake()
        if self._unsaved_inputs >= CHECKPOINT_INPUTS or self._unsaved_frames >= CHECKPOINT_FRAMES:
            self._unsaved_inputs = self._unsaved_frames = 0
            self._checkpoint()

    async def _feed(self, inputs: Sequence[FramesInput]) -> list[Event]:
        blocks = [entry.block for entry in inputs]
        block = FrameBlock.joined(blocks)
        if len(block) == 0:
            return []
        before_ns = self.detector.time_ns
        if len(block) <= INLINE_FRAMES:
            events = self.detector.feed(block)
        else:
            events = await asyncio.to_thread(self.detector.feed, block)
        self._unsaved_frames += len(block)
        newest_ns = self.detector.time_ns
        new = block.time_ns > (before_ns if newest_ns >= before_ns else 0)
        self._fresh.blocks.append(FrameBlock(block.time_ns[new], block.values[new]))
        if self.record.kind is not SortieKind.FLIGHT:
            self._came(int(block.time_ns[-1]), inputs[-1].received_ns)
        elif newest_ns in block.time_ns:
            # What comes a second time, by another way and minutes late, keeps no link alive.
            self._came(newest_ns, inputs[-1].received_ns)
        return events

    def _other(self, entry: JournalEntry) -> list[Event]:
        if isinstance(entry.input, TickInput):
            self._silence.last_tick_ns = max(self._silence.last_tick_ns, entry.input.time_ns)
        return apply(self.detector, entry.input)

    # -- events -------------------------------------------------------------------------------------------------

    async def _emit(self, events: list[Event]) -> None:
        """Tell the watchers at once, then have them journalled.

        Their inputs are on disk, so that an event told but not yet journalled is made again, the same, after a crash.
        """
        if self._looking_until is not None:
            return
        self.events_made += len(events)
        self._next_sequence = events[-1].sequence + 1
        now = self._ports.clock.wall_ns()
        for event in events:
            payload = event_message(event, server_ns=now, received_ns=self._received_ns)
            await self._ports.bus.publish(events_subject(self.record.id), payload)
        await self._writer.put(events)

    def _written(self, events: Sequence[Event]) -> None:
        if self._on_events is not None:
            self._on_events(self.record, events)

    def _checkpoint(self) -> None:
        if self._looking_until is not None:
            return
        silence = self._silence
        steady_behind_ns = self._ports.clock.wall_ns() - self._ports.clock.steady_ns()
        memo = orjson.dumps(
            {
                "frame_ns": silence.frame_ns,
                "arrived_wall_ns": silence.arrived_wall_ns,
                "least_lag_ns": silence.lateness.least_ns + steady_behind_ns,
            }
        )
        data = self.detector.save()
        saved = Checkpoint(self.record.id, self.detector.run, self.offset, self._next_sequence, data, memo)
        self._writer.checkpoint(saved)

    # -- waiting for the detector ---------------------------------------------------------------------------------

    def _wake(self) -> None:
        moved, self._moved = self._moved, []
        for future in moved:
            if not future.done():
                future.set_result(None)

    async def reached(self, offset: int) -> None:
        """Return once every input up to `offset` has been taken and its events are on disk."""
        while self.offset < offset:
            future = asyncio.get_running_loop().create_future()
            self._moved.append(future)
            await future
        await self._writer.flush()

    # -- time and pictures ----------------------------------------------------------------------------------------

    async def _tick(self) -> None:
        clock = self._ports.clock
        while True:
            await clock.sleep(self._silence.tick_every_s)
            played = await self._played()
            silent_s = played[1] * 1e-9 if played else self._silence.silent_s(clock.steady_ns()) or 0.0
            worth = self._ticks(played) and worth_ticking(self.detector.snapshot(), silent_s)
            if not worth or not await self._may_tick():
                continue
            if due := self._ticks(played):  # asked again: frames may have been taken meanwhile
                await self._ports.inputs.append_all(self.record.id, [TickInput(at, clock.wall_ns()) for at in due])

    async def _played(self) -> tuple[int, int] | None:
        """What a rehearsal's player says: newest frame sent, played since (ns); None in flight and when nobody plays."""
        if self.record.kind is SortieKind.FLIGHT:
            return None
        payload = await self._ports.bus.latest(played_subject(self.record.id))
        if not payload:
            return None
        frame_ns, silent_ns, *late_ns = (int(number) for number in payload.split())
        self._played_late_ns = late_ns[0] if late_ns else 0  # a player of a former version does not say
        return frame_ns, silent_ns

    def _ticks(self, played: tuple[int, int] | None) -> list[int]:
        """Ticks due, in source time: by our clock in flight, by the player's word in a rehearsal."""
        if self.record.kind is SortieKind.FLIGHT:
            return self._silence.due_flown(self._ports.clock.steady_ns())
        return self._silence.due_played(played)

    async def _may_tick(self) -> bool:
        """Only the owner says that no frames come, and only when none have come that it has not taken yet."""
        if self._ports.clock.steady_ns() > self.held_until_ns or self._looking_until is not None:
            return False
        return await self._ports.inputs.newest_offset(self.record.id) <= self.offset

    async def _publish(self) -> None:
        clock = self._ports.clock
        while True:
            now = clock.steady_ns()
            if now > self.held_until_ns:
                await clock.sleep(SNAPSHOT_EVERY_S)
                continue
            if self._due(now):
                await self._publish_once(now, await self._presence())
            await clock.sleep(SNAPSHOT_EVERY_S if self._watched() else HEARTBEAT_EVERY_S / 2)

    def _watched(self) -> bool:
        return self._ports.bus.listened(live_subject(self.record.id))

    def _due(self, now: int) -> bool:
        if now - self._fresh.published_steady_ns > HEARTBEAT_EVERY_S * 1e9:
            return True
        return self._fresh.changed and self._watched()

    async def newest_message(self) -> bytes:
        """For a watcher who has just come: the state last published, or one published now if it or who watches has changed."""
        now = self._ports.clock.steady_ns()
        watched = await self._presence()
        if self._fresh.message is None or watched != self._fresh.watched or self._due(now):
            await self._publish_once(now, watched)
        assert self._fresh.message is not None
        return self._fresh.message

    async def _publish_once(self, now: int, watched: bytes) -> None:
        blocks, self._fresh.blocks = self._fresh.blocks, []
        self._fresh.changed = False
        self._fresh.published_steady_ns = now
        block = FrameBlock.joined(blocks) if blocks else None
        self._fresh.message, self._fresh.watched = state_message(self._state(watched), block), watched
        await self._ports.bus.publish(live_subject(self.record.id), self._fresh.message)

    async def state(self) -> dict[str, Any]:
        """The snapshot with what the shell knows: data age, origin, arrival times, who watches."""
        return self._state(await self._presence())

    async def _presence(self) -> bytes:
        """Who watches, as it was last said."""
        return await self._ports.bus.latest(presence_subject(self.record.id)) or b""

    def _state(self, presence: bytes) -> dict[str, Any]:
        now = self._ports.clock.wall_ns()
        state: dict[str, Any] = self.detector.snapshot()
        steady = self._ports.clock.steady_ns()
        silent, since = self._silence.silent_s(steady), self._silence.since_s(state["time_ns"] or 0, steady)
        flown = self.record.kind is SortieKind.FLIGHT
        late = (self._silence.lateness.late_ns if flown else self._played_late_ns) * 1e-9
        state.update(
            server_ns=now,
            received_ns=self._received_ns,
            data_age_s=None if silent is None else round(silent + late, 3),
            data_late_s=None if silent is None else round(late, 3),
            time_age_s=None if since is None else round(since, 3),
            data_age_limit_s=self._silence.limit_s,
            origin="live" if flown else "replay",
            input_offset=self.offset,
        )
        if presence != self._fresh.presence[0]:
            self._fresh.presence = (presence, orjson.loads(presence) if presence else {})
        state.update(self._fresh.presence[1])
        return state
