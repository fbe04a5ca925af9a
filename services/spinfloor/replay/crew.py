"""Early or late crew response in a recording: whole turns of the spin cut or flown again before the recovery. Pure.

The spin is taken as steady over the last turn before the recovery controls (our own approximation): that turn is
repeated or cut, and everything after it moves in time by its period and in height by what it cost. Rates, angles and
loads come round by themselves after a whole turn. A cut never leaves less than one turn of the spin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from spinfloor.core.channels import PRESSURE_ALTITUDE, RADAR_ALTITUDE
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

HEIGHTS: Final = (PRESSURE_ALTITUDE, RADAR_ALTITUDE)


@dataclass(frozen=True, slots=True)
class _Recovery:
    controls_ns: int
    period_ns: int
    turns: float


def with_crew_response(block: FrameBlock, events: Sequence[Event], turns: int) -> FrameBlock:
    """The recording with every recovery begun `turns` whole turns later (negative: earlier).

    events: of the undisturbed recording. Spins without recovery controls or without a whole turn before them stay.
    """
    out = block
    moved_ns = 0
    for recovery in _recoveries(events):
        shifted = _Recovery(recovery.controls_ns + moved_ns, recovery.period_ns, recovery.turns)
        count = turns if turns >= 0 else -min(-turns, max(int(recovery.turns - 1.0), 0))
        out = _spliced(out, shifted, count)
        moved_ns += count * recovery.period_ns
    return out


def _recoveries(events: Sequence[Event]) -> list[_Recovery]:
    found: list[_Recovery] = []
    period_s: float | None = None
    again = False
    for event in sorted(events, key=lambda e: e.time_ns):
        if event.kind is Kind.SPIN_STARTED:
            period_s, again = None, False
        elif event.kind is Kind.SPIN_TURN and isinstance(event.data.get("seconds"), float):
            period_s = float(str(event.data["seconds"]))
        elif event.kind is Kind.RECOVERY_STARTED and period_s is not None:
            if again:
                found.pop()  # given up: the one that follows is the recovery
            found.append(_Recovery(event.time_ns, int(period_s * 1e9), float(str(event.data.get("turns") or 0.0))))
            again = True
    return found


def _spliced(block: FrameBlock, recovery: _Recovery, count: int) -> FrameBlock:
    if count == 0:
        return block
    cut = int(np.searchsorted(block.time_ns, recovery.controls_ns))
    first = int(np.searchsorted(block.time_ns, recovery.controls_ns - recovery.period_ns))
    if first <= 0 or cut <= first or cut >= len(block):
        return block
    cost = block.values[cut] - block.values[first]
    if count < 0:
        kept = int(np.searchsorted(block.time_ns, recovery.controls_ns + count * recovery.period_ns))
        parts = [block.slice(0, kept), _moved(block.slice(cut, len(block)), recovery.period_ns, cost, count)]
    else:
        turn = block.slice(first, cut)
        parts = [block.slice(0, cut)]
        parts += [_moved(turn, recovery.period_ns, cost, again) for again in range(1, count + 1)]
        parts.append(_moved(block.slice(cut, len(block)), recovery.period_ns, cost, count))
    return FrameBlock.joined(parts)


def _moved(
    block: FrameBlock, period_ns: int, cost: np.ndarray[tuple[int], np.dtype[np.float64]], turns: int
) -> FrameBlock:
    values = block.values.copy()
    for channel in HEIGHTS:
        values[:, channel] += turns * cost[channel]
    return FrameBlock(block.time_ns + turns * period_ns, values)
