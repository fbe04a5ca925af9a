"""When no frame comes: how far the source's clock must have got, and which ticks are due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from spinfloor.detect.lateness import Lateness

TICKS_PER_LIMIT: Final = 5.0  # ticks within one data-age limit, so that the loss is known within a fifth of it
SHORTEST_TICK_S: Final = 0.05
LONGEST_TICK_S: Final = 0.2
TICKS_AT_ONCE: Final = 100
LONGEST_CARRIED_S: Final = 120.0  # whatever is not seen for so long has ended, and nothing carried on says how
QUIET_PHASES: Final = ("flight", "unknown")


@dataclass(slots=True)
class Silence:
    """Tracks the newest frame: its time in the source's clock and when it came here, by the steady clock."""

    limit_s: float
    frame_ns: int | None = None
    arrived_steady_ns: int = 0
    arrived_wall_ns: int = 0
    last_tick_ns: int = 0
    lateness: Lateness = field(default_factory=Lateness)

    @property
    def tick_every_s(self) -> float:
        """Spacing of ticks."""
        return min(max(self.limit_s / TICKS_PER_LIMIT, SHORTEST_TICK_S), LONGEST_TICK_S)

    def came(self, frame_ns: int, *, arrived_wall_ns: int, wall_ns: int, steady_ns: int) -> None:
        """A frame came, now or before a restart; one from later than now, by a wall clock set back, came now."""
        self.frame_ns = frame_ns
        self.arrived_wall_ns = arrived_wall_ns
        self.arrived_steady_ns = steady_ns - max(wall_ns - arrived_wall_ns, 0)
        self.lateness.came(frame_ns, self.arrived_steady_ns)

    def silent_s(self, steady_ns: int) -> float | None:
        """Since the newest frame came; None before the first."""
        return None if self.frame_ns is None else (steady_ns - self.arrived_steady_ns) * 1e-9

    def since_s(self, time_ns: int, steady_ns: int) -> float | None:
        """Since a time of the source's clock, the newest frame's or a tick's after it; None before the first frame."""
        silent = self.silent_s(steady_ns)
        return None if silent is None or self.frame_ns is None else max(silent - (time_ns - self.frame_ns) * 1e-9, 0.0)

    def due_flown(self, steady_ns: int) -> list[int]:
        """The tick due now in flight, in source time: the source's clock goes on with ours. None before the first frame."""
        if self.frame_ns is None:
            return []
        now_ns = self.frame_ns + steady_ns - self.arrived_steady_ns
        return [now_ns] if self._lost_by(now_ns) and now_ns > self.last_tick_ns else []

    def due_played(self, played: tuple[int, int] | None) -> list[int]:
        """The ticks due by a player's word (None: nobody plays): the time of the newest frame it has sent, and how much of
        the recording it has played since that was due. What it said before the newest frame taken counts no more.

        However fast it plays, they are those of real time, from the moment of the loss on, so that the same calls come at
        the same places; and a player that is paused or late has simply not got further.
        """
        if self.frame_ns is None or played is None or played[0] != self.frame_ns:
            return []
        played_ns = sum(played)
        if not self._lost_by(played_ns):
            return []
        lost_ns, step_ns = self.frame_ns + self._limit_ns, int(self.tick_every_s * 1e9)
        return list(range(max(self.last_tick_ns + step_ns, lost_ns), played_ns + 1, step_ns))[:TICKS_AT_ONCE]

    @property
    def _limit_ns(self) -> int:
        return int(self.limit_s * 1e9)

    def _lost_by(self, now_ns: int) -> bool:
        return self.frame_ns is not None and now_ns - self.frame_ns >= self._limit_ns


def worth_ticking(snapshot: Mapping[str, Any], silent_s: float) -> bool:
    """In a spin and until level flight time must go on, for two minutes; otherwise only until the loss has been said."""
    return silent_s < LONGEST_CARRIED_S and _going_on(snapshot)


def _going_on(snapshot: Mapping[str, Any]) -> bool:
    return bool(snapshot.get("in_spin")) or snapshot.get("phase") not in QUIET_PHASES or snapshot.get("link") == "ok"
