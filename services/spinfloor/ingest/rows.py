"""Row by row: what doesn't count as a frame, and why.

A row whose time can't be read is left out. Every other row is journalled as it came, so that nothing measured is
thrown away; a row whose time doesn't rise or whose rates are missing is reported as not counting, and the detector
raises the matching quality flag.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import CHANNELS, PITCH_RATE, PRESSURE_ALTITUDE, ROLL_RATE, YAW_RATE
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.inputs import FEW, extent_of

NO_TIME_NS: Final = -1
LATEST_NS: Final = 7_258_118_400_000_000_000  # the year 2200; anything later is a wrong unit or a damaged stamp
CLOCK_BACK_NS: Final = 2_000_000_000  # as the detector has it
_NEEDED: Final = (ROLL_RATE, PITCH_RATE, YAW_RATE, PRESSURE_ALTITUDE)  # the first columns, in this order


@dataclass(frozen=True, slots=True)
class RowProblem:
    """One row of a batch (0-based, as sent) and what is wrong with it; kept: it is in the journal all the same."""

    row: int
    reason: str
    kept: bool

    def as_record(self) -> dict[str, object]:
        """Plain fields for the answer."""
        return {"row": self.row, "reason": self.reason, "kept": self.kept}


def check_rows(block: FrameBlock) -> tuple[FrameBlock, tuple[RowProblem, ...]]:
    """The block to journal (rows without a usable time left out, infinities made missing) and the problems."""
    times = block.time_ns
    if _all_good(block):
        return block, ()
    usable = (times >= 0) & (times < LATEST_NS)
    values = block.values
    infinite = np.isinf(values)
    if bool(infinite.any()):
        values = np.where(infinite, np.nan, values)
    problems = [
        RowProblem(int(row), "time_ns is missing or outside the years 1970 to 2200", kept=False)
        for row in np.flatnonzero(~usable)
    ]
    missing = np.isnan(values[:, _NEEDED]) & usable[:, None]
    problems += [
        RowProblem(int(row), _missing_words(missing[row]), kept=True) for row in np.flatnonzero(missing.any(axis=1))
    ]
    if not bool(usable.all()):
        return FrameBlock(times[usable], np.ascontiguousarray(values[usable])), tuple(problems)
    return FrameBlock(times, values), tuple(problems)


def _all_good(block: FrameBlock) -> bool:
    """The usual case, decided with a handful of array operations: nothing missing that is needed, nothing infinite."""
    if not len(block):
        return True
    whole = bool(np.isfinite(block.values[:, : len(_NEEDED)]).all()) and not bool(np.isinf(block.values).any())
    return whole and within_times(block.time_ns)


def within_times(times: npt.NDArray[np.int64]) -> bool:
    """Whether every time stamp can be one."""
    first, last = extent_of(times)
    return first >= 0 and last < LATEST_NS


def backwards(times: npt.NDArray[np.int64], newest_ns: int | None) -> list[int]:
    """Places whose time does not rise above the newest one before (newest_ns: before the first): repeated, or late.

    A step back by more than CLOCK_BACK_NS is a clock that was set back: time counts from there.
    """
    if len(times) > FEW and (newest_ns is None or int(times[0]) > newest_ns) and bool((times[1:] > times[:-1]).all()):
        return []
    places, newest = [], newest_ns
    for place, now in enumerate(times.tolist()):
        if newest is not None and now <= newest:
            places.append(place)
            newest = now if newest - now > CLOCK_BACK_NS else newest
        else:
            newest = now
    return places


def _missing_words(missing: npt.NDArray[np.bool_]) -> str:
    names = [CHANNELS[channel].column for channel, gone in zip(_NEEDED, missing, strict=True) if gone]
    return f"no value in {', '.join(names)}"
