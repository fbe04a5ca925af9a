"""A bench for the decision step: set fields of one motion record, step, read what was said."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from spinfloor.core.detector.emission import PAYLOAD_WIDTH
from spinfloor.core.events import Json, Kind, Mark
from spinfloor.core.plan.model import Plan
from spinfloor.core.recovery.decision import decide
from spinfloor.core.recovery.marks import apply_mark
from spinfloor.core.recovery.payloads import PayloadWords, decision_event

PULSES = (
    "spin_ended_now", "recovery_started_now", "level_now", "reversed_now", "restarted_now", "turned_inverted_now",
    "data_lost_now", "data_restored_now",
)  # fmt: skip


@dataclass(slots=True)
class Bench:
    """The records the step works on, one motion record for all steps."""

    motion: npt.NDArray[Any]
    decision: npt.NDArray[Any]
    beliefs: npt.NDArray[Any]
    cards: npt.NDArray[Any]
    settings: npt.NDArray[Any]
    plan: Plan
    said: list[tuple[float, str, dict[str, Json]]] = field(default_factory=list)
    start_ns: int = 0

    def __post_init__(self) -> None:
        self.start_ns = int(self.motion["time_ns"][0])

    @property
    def now_s(self) -> float:
        """Seconds since the bench began."""
        return (int(self.motion["time_ns"][0]) - self.start_ns) * 1e-9

    def set(self, **fields: float) -> Bench:
        """Set fields of the motion record."""
        for name, value in fields.items():
            self.motion[name] = value
        return self

    def step(self, seconds: float = 0.0, **fields: float) -> list[dict[str, Json]]:
        """Advance the clock, set fields for this step only where they are one-frame news, and step."""
        self.set(**fields)
        self.motion["time_ns"] += round(seconds * 1e9)
        ints = np.zeros((64, 3), np.int64)
        floats = np.full((64, PAYLOAD_WIDTH), np.nan)
        cursor = np.zeros(1, np.int64)
        decide(
            self.motion[0], self.decision[0], self.beliefs[0], self.cards, self.settings[0], ints, floats, cursor
        )  # fmt: skip
        words = PayloadWords.of(self.plan)
        new: list[dict[str, Json]] = []
        for i in range(int(cursor[0])):
            kind, data = decision_event(int(ints[i, 0]), floats[i], words)
            new.append({"kind": kind.value, **data})
            self.said.append((self.now_s, kind.value, data))
        for name in PULSES:
            self.motion[name] = 0
        return new

    def fly(self, seconds: float, hz: float = 20.0, *, sink: bool = False) -> list[str]:
        """Step on at a rate, turning and (with sink) sinking steadily; returns the words called meanwhile."""
        before = len(self.said)
        for _ in range(round(seconds * hz)):
            period = float(self.motion["turn_period_s"][0])
            self.motion["turns"] += 1.0 / hz / period
            self.motion["turns_about_vertical"] += 0.9 / hz / period
            if sink:
                self.motion["altitude_m"] -= float(self.motion["sink_mps"][0]) / hz
            self.step(1.0 / hz)
        return [str(d["words"]) for _, kind, d in self.said[before:] if kind == Kind.CALL.value]

    def mark(self, kind: str, **data: Json) -> None:
        """A person's mark now."""
        mark = Mark(kind=kind, time_ns=int(self.motion["time_ns"][0]), by="test conductor", data=data)
        apply_mark(mark, self.decision, self.cards, self.settings, [c.id for c in self.plan.cards])
