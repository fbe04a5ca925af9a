"""When no frame comes: how far the source's clock must have got, and whether a tick is due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

TICKS_PER_LIMIT: Final = 5.0  # ticks within one data-age limit, so that the loss is known within a fifth of it
SHORTEST_TICK_S: Final = 0.05
SHORTEST_SILENCE_S: Final = 0.2  # on the wall: a busy process is silent so long, which played tenfold is no lost link
LONGEST_TICK_S: Final = 0.2
TICKS_AT_ONCE: Final = 100
QUIET_PHASES: Final = ("flight", "unknown")


@dataclass(slots=True)
class Silence:
    """Tracks the newest frame: its time in the source's clock and when it came here, by the steady clock."""

    limit_s: float
    frame_ns: int | None = None
    arrived_steady_ns: int = 0
    arrived_wall_ns: int = 0
    last_tick_ns: int = 0

    @property
    def tick_every_s(self) -> float:
        """Spacing of ticks."""
        return min(max(self.limit_s / TICKS_PER_LIMIT, SHORTEST_TICK_S), LONGEST_TICK_S)

    def came(self, frame_ns: int, *, arrived_wall_ns: int, wall_ns: int, steady_ns: int) -> None:
        """A frame came, now or before a restart; one from later than now, by a wall clock set back, came now."""
        self.frame_ns = frame_ns
        self.arrived_wall_ns = arrived_wall_ns
        self.arrived_steady_ns = steady_ns - max(wall_ns - arrived_wall_ns, 0)

    def due(self, steady_ns: int, pace: float) -> list[int]:
        """Source times of the ticks due now, none while frames come, before the first and while paused.

        At up to real time it is one tick. A faster replay has got further since the last look: it gets every tick that
        it would have had in real time, from the moment of the loss on, so that the same calls come at the same places.
        """
        if self.frame_ns is None or pace <= 0.0:
            return []
        waited_ns = steady_ns - self.arrived_steady_ns
        silent_ns, limit_ns = int(waited_ns * pace), int(self.limit_s * 1e9)
        if silent_ns < limit_ns or (pace > 1.0 and waited_ns < SHORTEST_SILENCE_S * 1e9):
            return []
        time_ns, lost_ns = self.frame_ns + silent_ns, self.frame_ns + limit_ns
        if pace <= 1.0:
            return [time_ns] if time_ns > self.last_tick_ns else []
        step = int(self.tick_every_s * 1e9)
        return list(range(max(self.last_tick_ns + step, lost_ns), time_ns + 1, step))[:TICKS_AT_ONCE]


def worth_ticking(snapshot: Mapping[str, Any]) -> bool:
    """In a spin and until level flight time must go on; otherwise only until the loss has been said."""
    return bool(snapshot.get("in_spin")) or snapshot.get("phase") not in QUIET_PHASES or snapshot.get("link") == "ok"
