"""Fewer points, no peak lost: the smallest and largest value of each channel in each stretch of time.

Each stretch becomes two rows at its first and last frame time; each channel's extremes go in the order in which they
occurred. A channel with no value in a stretch stays missing there.
"""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import CHANNEL_COUNT, PITCH_RATE, PRESSURE_ALTITUDE, ROLL_RATE, YAW_RATE
from spinfloor.core.frames import Float64Array, FrameBlock, Int64Array

_ODD: Final = np.uint64(0x9E3779B97F4A7C15)  # spreads neighbouring times over all bits


@dataclass(frozen=True, slots=True)
class _Seen:
    """Frames that have been given: their times' range, and what each was."""

    first_ns: int
    last_ns: int
    marks: npt.NDArray[np.uint64]


async def once(blocks: AsyncIterator[FrameBlock]) -> AsyncIterator[FrameBlock]:
    """Each frame once, for what is drawn: a second gateway's, and those of a flight that was sent again, are left out."""
    given: list[_Seen] = []
    newest: int | None = None
    async for block in blocks:
        if not len(block):
            continue
        first, last = int(block.time_ns.min()), int(block.time_ns.max())
        marks = _marks(block)
        rising = bool((np.diff(block.time_ns) > 0).all()) and (newest is None or first > newest)
        if not rising:
            new = np.zeros(len(block), np.bool_)
            new[np.unique(marks, return_index=True)[1]] = True
            for one in given:
                if one.first_ns <= last and first <= one.last_ns:
                    new &= ~np.isin(marks, one.marks)
            block, marks = FrameBlock(block.time_ns[new], block.values[new]), marks[new]
        newest = last if newest is None else max(newest, last)
        if len(block):
            given.append(_Seen(first, last, marks))
            yield block


def _marks(block: FrameBlock) -> npt.NDArray[np.uint64]:
    """Time and required values of each frame as one number, as the detector knows a frame again by."""
    p, q, r, h = np.nan_to_num(block.values[:, [ROLL_RATE, PITCH_RATE, YAW_RATE, PRESSURE_ALTITUDE]]).T
    said = (p + 2.0 * q + 4.0 * r + 8.0 * h).view(np.uint64)
    with np.errstate(over="ignore"):
        mixed: npt.NDArray[np.uint64] = block.time_ns.astype(np.uint64) * _ODD ^ said
    return mixed


async def decimated(blocks: AsyncIterator[FrameBlock], *, first_ns: int, last_ns: int, max_points: int) -> FrameBlock:
    """At most max_points rows over first_ns..last_ns (both included). max_points: at least 2."""
    stretches = max(max_points // 2, 1)
    width = max((last_ns - first_ns) // stretches + 1, 1)
    parts: list[FrameBlock] = []
    held: FrameBlock | None = None
    async for block in blocks:
        if held is not None:
            block = FrameBlock.joined([held, block])
        stretch = _stretches(block, first_ns, width)
        # The last stretch may go on in the next block.
        cut = int(np.flatnonzero(stretch != stretch[-1])[-1]) + 1 if bool((stretch != stretch[-1]).any()) else 0
        if cut:
            parts.append(_reduced(block.slice(0, cut), stretch[:cut]))
        held = block.slice(cut, len(block))
    if held is not None and len(held):
        parts.append(_reduced(held, _stretches(held, first_ns, width)))
    return FrameBlock.joined(parts)


def _stretches(block: FrameBlock, first_ns: int, width: int) -> Int64Array:
    """Number of each frame's stretch, never falling: a frame from the past goes into the stretch reached."""
    stretches: Int64Array = np.maximum.accumulate((block.time_ns - first_ns) // width)
    return stretches


def _reduced(block: FrameBlock, stretch: Int64Array) -> FrameBlock:
    starts = np.flatnonzero(np.r_[True, stretch[1:] != stretch[:-1]])
    ends = np.r_[starts[1:], len(block)]
    low = np.fmin.reduceat(block.values, starts, axis=0)
    high = np.fmax.reduceat(block.values, starts, axis=0)
    low_first = _first_place(block.values, low, starts, ends) <= _first_place(block.values, high, starts, ends)
    values = np.empty((2 * len(starts), CHANNEL_COUNT))
    values[0::2] = np.where(low_first, low, high)
    values[1::2] = np.where(low_first, high, low)
    times = np.empty(2 * len(starts), np.int64)
    times[0::2] = block.time_ns[starts]
    times[1::2] = block.time_ns[ends - 1]
    single = np.repeat(ends - starts == 1, 2)
    single[0::2] = False  # a stretch of one frame is that frame, once
    return FrameBlock(times[~single], np.ascontiguousarray(values[~single]))


def _first_place(
    values: Float64Array, wanted: Float64Array, starts: Int64Array, ends: Int64Array
) -> npt.NDArray[np.int64]:
    """Row of the first frame in each stretch that holds the wanted value, per channel."""
    rows = np.arange(len(values))[:, None]
    hit = values == np.repeat(wanted, ends - starts, axis=0)
    found: npt.NDArray[np.int64] = np.minimum.reduceat(np.where(hit, rows, len(values)), starts, axis=0)
    return found
