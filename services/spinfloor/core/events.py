"""What the detector says: frozen events, complete enough to be journalled, replayed and audited.

An event holds when it happened (`time_ns`) and the frame or tick that let us say so (`detected_ns`).
`data` is in edge units (feet, knots, degrees) with the unit in each name.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]


class Kind(StrEnum):
    """Event kinds of the contract, version 1."""

    PHASE = "phase"
    SPIN_STARTED = "spin.started"
    SPIN_TURN = "spin.turn"
    SPIN_MODE = "spin.mode"
    RECOVERY_STARTED = "recovery.started"
    SPIN_ENDED = "spin.ended"
    RECOVERED = "recovered"
    CALL = "call"
    FLOOR_CROSSED = "floor.crossed"
    QUALITY = "quality"
    LINK = "link"
    MARK = "mark"


class Phase(StrEnum):
    """Phases of flight the detector tells apart; the order is the kernel's code."""

    UNKNOWN = "unknown"
    FLIGHT = "flight"
    DEPARTURE = "departure"
    INCIPIENT = "incipient"
    DEVELOPED = "developed"
    RECOVERING = "recovering"
    DIVE = "dive"
    SPIRAL = "spiral"
    ROLLING = "rolling"
    TUMBLE = "tumble"


class Call(StrEnum):
    """Calls, lowest priority first; the order is the kernel's code."""

    STATUS = "status"
    TURN = "turn"
    CAUTION = "caution"
    RECOVER = "recover"
    CHUTE = "chute"
    ABANDON = "abandon"


class Mode(StrEnum):
    """Spin modes by |alpha|; the order is the kernel's code."""

    STEEP = "steep"
    MODERATELY_STEEP = "moderately steep"
    MODERATELY_FLAT = "moderately flat"
    FLAT = "flat"


PHASES: tuple[Phase, ...] = tuple(Phase)
CALLS: tuple[Call, ...] = tuple(Call)
MODES: tuple[Mode, ...] = tuple(Mode)


@dataclass(frozen=True, slots=True)
class Event:
    """One entry of a sortie's event stream; `sequence` counts from 0 without a hole within a run."""

    sortie: str
    run: str
    sequence: int
    kind: Kind
    time_ns: int
    detected_ns: int
    data: Mapping[str, Json]

    def as_record(self) -> dict[str, Json]:
        """The contract's JSON object."""
        return {
            "sortie": self.sortie,
            "run": self.run,
            "sequence": self.sequence,
            "kind": self.kind.value,
            "time_ns": self.time_ns,
            "detected_ns": self.detected_ns,
            "data": dict(self.data),
        }


@dataclass(frozen=True, slots=True)
class Mark:
    """Something a person did or said, journalled with the frames so that a rerun gives the same events.

    kind: controls_applied | call_made | acknowledge | note | card | floors
    """

    kind: str
    time_ns: int
    by: str
    data: Mapping[str, Json]
