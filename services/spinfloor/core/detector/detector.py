"""The detector: the one object that drives live, replay, reprocessing and tests.

Frames, ticks and marks in; events out. It awaits nothing, reads no clock and opens nothing. It advises: the crew, the
test conductor and the approved plan decide.
"""

from __future__ import annotations

import hashlib
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.detector import saving
from spinfloor.core.detector.datum import move_heights
from spinfloor.core.detector.emission import PAYLOAD_WIDTH
from spinfloor.core.detector.kernel import run_frames, run_tick
from spinfloor.core.detector.memory import Memory
from spinfloor.core.detector.payloads import BUILDERS
from spinfloor.core.detector.snapshot import Snapshot, take_snapshot
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Event, Json, Kind, Mark
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.flatten import cards_record, settings_record, write_floors
from spinfloor.core.plan.model import Floors, Plan
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.core.recovery.marks import apply_mark, check_mark
from spinfloor.core.recovery.payloads import PayloadWords, decision_event

DETECTOR_VERSION: Final = "8"
EVENT_CAPACITY: Final = 4096
MARK_KINDS: Final = ("controls_applied", "call_made", "acknowledge", "note", "card", "floors")


class UnknownMarkError(SpinfloorError):
    """A mark of a kind nobody knows."""

    code = "unknown-mark"
    http_status = 422


class Detector:
    """Watches one sortie."""

    def __init__(self, *, sortie: str, plan: Plan, beliefs: Beliefs | None = None) -> None:
        """A detector that has seen nothing. `beliefs` default to the plan's priors."""
        self.sortie = sortie
        self.plan = plan
        believed = beliefs if beliefs is not None else Beliefs.from_plan(plan)
        self._memory = Memory.fresh(settings_record(plan), cards_record(plan), believed.record())
        self._words = PayloadWords.of(plan)
        digest = hashlib.sha256()
        for part in (self._memory.settings, self._memory.cards, self._memory.beliefs):
            digest.update(part.tobytes())
        self.run = f"{DETECTOR_VERSION}-{digest.hexdigest()[:10]}"
        self._sequence = 0
        self._last_call: dict[str, Json] | None = None
        self._clean = np.full(CHANNEL_COUNT, np.nan)
        self._work = np.zeros((4, 3))
        self._ints = np.zeros((EVENT_CAPACITY, 3), np.int64)
        self._floats = np.full((EVENT_CAPACITY, PAYLOAD_WIDTH), np.nan)
        self._cursor = np.zeros(1, np.int64)

    # -- inputs ---------------------------------------------------------------------------------------------------

    def feed(self, block: FrameBlock) -> list[Event]:
        """Take frames in the order they arrived; returns the events they made known."""
        m = self._memory
        events: list[Event] = []
        first, n = 0, len(block)
        while first < n:
            first = run_frames(
                block.time_ns, block.values, first, n, self._clean, self._work, m.settings, m.motion, m.state,
                m.channels, m.flags, m.ring, m.decision, m.beliefs, m.cards, self._ints, self._floats, self._cursor,
            )  # fmt: skip
            events += self._drain()
        return events

    def tick(self, time_ns: int) -> list[Event]:
        """Time passing without frames, by the source's clock."""
        m = self._memory
        run_tick(
            time_ns, m.settings, m.motion, m.state, m.decision, m.beliefs, m.cards,
            self._ints, self._floats, self._cursor,
        )  # fmt: skip
        return self._drain()

    def mark(self, mark: Mark) -> list[Event]:
        """What a person did or said. Raises UnknownMarkError or MarkError, and then nothing has changed."""
        self.check_mark(mark)
        m = self._memory
        if mark.kind == "controls_applied":
            m.state["mark_ns"] = mark.time_ns
        else:
            apply_mark(mark, m.decision, m.cards, m.settings, self._words.card_ids)
        data: dict[str, Json] = {**mark.data, "mark": mark.kind, "by": mark.by}
        return [self._event(Kind.MARK, mark.time_ns, max(mark.time_ns, self.time_ns), data)]

    def check_mark(self, mark: Mark) -> None:
        """Raise UnknownMarkError or MarkError unless the mark can be taken; for use before journalling it."""
        if mark.kind not in MARK_KINDS:
            raise UnknownMarkError(
                expected="one of the marks " + ", ".join(MARK_KINDS),
                got=repr(mark.kind),
                now="the mark was not taken",
            )
        check_mark(mark, self._words.card_ids)

    def set_floors(self, floors: Floors, time_ns: int, by: str) -> list[Event]:
        """New floors from now on, heights remembered moved with their datum; said as a mark."""
        m = self._memory
        before_m = float(m.settings["altitude_offset_m"][0])
        write_floors(m.settings, floors)
        move_heights(m, float(m.settings["altitude_offset_m"][0]) - before_m)
        self.plan = self.plan.model_copy(update={"floors": floors})
        m.cards["entry_altitude_m"] = cards_record(self.plan)["entry_altitude_m"]
        m.decision["card_loss_index"] = -2  # to be worked out again
        data: dict[str, Json] = {"mark": "floors", "by": by, "floors": floors.model_dump(mode="json")}
        return [self._event(Kind.MARK, time_ns, max(time_ns, self.time_ns), data)]

    # -- looking --------------------------------------------------------------------------------------------------

    @property
    def time_ns(self) -> int:
        """Time of the newest frame or tick, 0 before the first."""
        return int(self._memory.motion["time_ns"][0])

    @property
    def records(self) -> Memory:
        """The working records, for tests and benchmarks; change nothing."""
        return self._memory

    def snapshot(self) -> Snapshot:
        """The present state, plain and in edge units."""
        return take_snapshot(self._memory, self.plan, self.sortie, self.run, self._last_call)

    # -- saving ---------------------------------------------------------------------------------------------------

    def save(self) -> bytes:
        """Everything needed to go on from here."""
        header = {
            "sortie": self.sortie,
            "plan": self.plan.model_dump(mode="json"),
            "run": self.run,
            "sequence": self._sequence,
            "last_call": self._last_call,
        }
        return saving.pack(header, self._memory.as_bytes())

    @classmethod
    def restore(cls, data: bytes) -> Detector:
        """A detector that goes on exactly where `save` was called. Raises SavedStateError."""
        header, parts = saving.unpack(data)
        try:
            detector = cls(sortie=str(header["sortie"]), plan=Plan.model_validate(header["plan"]))
            detector._memory.put_back(parts)
            detector.run = str(header["run"])
            detector._sequence = int(header["sequence"])
            detector._last_call = header["last_call"]
        except (KeyError, TypeError, ValueError) as error:
            raise saving.refused(str(error)) from error
        return detector

    # -- events ---------------------------------------------------------------------------------------------------

    def _drain(self) -> list[Event]:
        count = int(self._cursor[0])
        self._cursor[0] = 0
        return [self._from_slot(self._ints[i], self._floats[i]) for i in range(count)]

    def _from_slot(self, ints: npt.NDArray[Any], floats: npt.NDArray[Any]) -> Event:
        code, time_ns, detected_ns = int(ints[0]), int(ints[1]), int(ints[2])
        if code in BUILDERS:
            kind, build = BUILDERS[code]
            data = build(floats, time_ns)
        else:
            kind, data = decision_event(code, floats, self._words)
        event = self._event(kind, time_ns, detected_ns, data)
        if kind is Kind.CALL:
            self._last_call = event.as_record()
        return event

    def _event(self, kind: Kind, time_ns: int, detected_ns: int, data: dict[str, Json]) -> Event:
        event = Event(self.sortie, self.run, self._sequence, kind, time_ns, detected_ns, data)
        self._sequence += 1
        return event
