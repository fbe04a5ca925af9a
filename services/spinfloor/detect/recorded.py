"""A recording through a detector with time going on where frames are missing, as it does live: losing data is no silence."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from spinfloor.core.alignment import typical_period_ns
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event
from spinfloor.core.frames import FrameBlock
from spinfloor.detect.silence import Silence, worth_ticking

LONGEST_S: Final = 60.0  # a longer step is another sortie, or a clock that was set
PERIODS: Final = 4.0  # of the source: a slow one has lost nothing between two of its frames


def feed_recorded(detector: Detector, block: FrameBlock, *, data_age_limit_s: float) -> list[Event]:
    """The events of the frames and of the gaps between them, ticked as `Silence` does for a player.

    data_age_limit_s: the plan's, in seconds of the source's clock. A gap counts when the frames go on behind it: a single
    frame with a stamp far ahead is a wild stamp.
    """
    events: list[Event] = []
    begin = 0
    for end in _gaps(block, data_age_limit_s):
        events += detector.feed(block.slice(begin, end))
        for at_ns in _ticks(int(block.time_ns[end - 1]), int(block.time_ns[end]), data_age_limit_s):
            if not worth_ticking(detector.snapshot(), (at_ns - int(block.time_ns[end - 1])) * 1e-9):
                break
            events += detector.tick(at_ns)
        begin = end
    return events + detector.feed(block.slice(begin, len(block)))


def _ticks(last_ns: int, next_ns: int, limit_s: float) -> Iterator[int]:
    """Every tick due between two frames."""
    silence = Silence(limit_s, frame_ns=last_ns)
    while due := silence.due_played((last_ns, next_ns - 1 - last_ns)):
        silence.last_tick_ns = due[-1]
        yield from due


def _gaps(block: FrameBlock, limit_s: float) -> list[int]:
    """Rows before which frames are missing."""
    if len(block) < 3:
        return []
    steps_s = np.diff(block.time_ns) * 1e-9
    least_s = max(limit_s, PERIODS * typical_period_ns(block.time_ns) * 1e-9)
    missing = (steps_s > least_s) & (steps_s < LONGEST_S)
    goes_on = np.append((steps_s[1:] > 0.0) & (steps_s[1:] <= least_s), False)
    rows: list[int] = (np.flatnonzero(missing & goes_on) + 1).tolist()
    return rows
