"""What is odd about a recording, in sentences: it is read, and yet gives no spin or another than was flown."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from spinfloor.core.channels import CHANNEL_INDEX, REQUIRED_COLUMNS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from spinfloor.adapters.recordings import Recording
    from spinfloor.core.frames import FrameBlock

SLOWEST_STEP_S = 1.0  # a tenth of the slowest rate anybody streams
QUICKEST_STEP_S = 1e-5  # also whole seconds taken for nanoseconds: most of them alike
UNSORTED_SHARE = 0.01  # what a recorder writes out of order is far less
MISSING_SHARE = 0.5  # what a link loses of a channel is far less


def told(recording: Recording) -> Iterator[str]:
    """What a person hears of a recording before its frames are used: what was not read, and doubts."""
    for note in recording.notes:
        yield f"not read: {note.sentence}"
    for sentence in doubts(recording.block):
        yield f"{sentence}."


def doubts(block: FrameBlock) -> Iterator[str]:
    """Sentences about times and required channels that show no turn or a wrong one."""
    yield from _of_times(block.time_ns)
    for name in REQUIRED_COLUMNS:
        empty = int(np.count_nonzero(np.isnan(block.values[:, CHANNEL_INDEX[name]])))
        if empty > MISSING_SHARE * len(block):
            yield (
                f"expected {name} in every frame, got none in {empty:,} of {len(block):,}: what follows is not to be "
                "relied on without it"
            )


def _of_times(time_ns: NDArray[np.int64]) -> Iterator[str]:
    """Sentences about times (frames,) that step backwards too often or stand too far apart to show a turn."""
    steps = np.diff(time_ns)
    if steps.size == 0:
        return
    back = int(np.count_nonzero(steps < 0))
    if back > UNSORTED_SHARE * steps.size:
        yield (
            f"expected frames in the order of their times, got {back:,} of {steps.size:,} that lie before the one above them; "
            "frames are taken as they come and those out of order left out: sort the recording by time"
        )
    step_s = float(np.median(np.abs(steps))) * 1e-9
    if step_s > SLOWEST_STEP_S:
        yield (
            f"expected 10 to 200 frames a second, got one in {step_s:,.3g} s; a spin turns once in 1 to 8 s and cannot be seen "
            "so: check the unit of the time column"
        )
    elif step_s < QUICKEST_STEP_S:
        yield (
            f"expected 10 to 200 frames a second, got one in {step_s:.3g} s: check the unit of the time column (time_ns is in "
            "nanoseconds, time_s in seconds)"
        )
