"""What is drawn of frames that came twice, late and in pieces: each once; of a clock that was set back: all."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from spinfloor.archive.decimate import decimated, once
from spinfloor.core.channels import CHANNEL_COUNT, PRESSURE_ALTITUDE
from spinfloor.core.frames import FrameBlock

START_NS = 1_900_000_000_000_000_000
STEP_NS = 20_000_000


def flight(frames: int = 400) -> FrameBlock:
    """Going down steadily, one rate missing."""
    values = np.random.default_rng(3).normal(size=(frames, CHANNEL_COUNT))
    values[:, PRESSURE_ALTITUDE] = np.linspace(3000.0, 1000.0, frames)
    values[::7, 0] = np.nan
    return FrameBlock(START_NS + STEP_NS * np.arange(frames, dtype=np.int64), values)


async def _blocks(blocks: Sequence[FrameBlock]) -> AsyncIterator[FrameBlock]:
    for block in blocks:
        yield block


def drawn(blocks: Sequence[FrameBlock]) -> FrameBlock:
    async def all_of() -> FrameBlock:
        return FrameBlock.joined([block async for block in once(_blocks(blocks))])

    return asyncio.run(all_of())


def cut(block: FrameBlock, frames: int) -> list[FrameBlock]:
    return [block.slice(i, i + frames) for i in range(0, len(block), frames)]


@given(frames=st.integers(1, 120), late=st.integers(0, 30), page=st.integers(1, 500))
def test_a_second_gateways_frames_are_left_out(frames: int, late: int, page: int) -> None:
    """However they are cut, and whatever a page of the store holds of both."""
    block = flight()
    pieces = cut(block, frames)
    either = [(i, 0, piece) for i, piece in enumerate(pieces)] + [
        (i + late, 1, piece) for i, piece in enumerate(pieces)
    ]
    stored = FrameBlock.joined([piece for _, _, piece in sorted(either, key=lambda sent: sent[:2])])
    out = drawn(cut(stored, page))
    np.testing.assert_array_equal(out.time_ns, block.time_ns)
    np.testing.assert_array_equal(out.values, block.values)


def test_a_clock_that_was_set_back_by_whole_frames_loses_none() -> None:
    block = flight()
    times = block.time_ns.copy()
    times[200:] -= 100 * STEP_NS
    set_back = FrameBlock(times, block.values)
    out = drawn(cut(set_back, 50))
    np.testing.assert_array_equal(out.time_ns, times)


@pytest.mark.parametrize("late", [2, 100])
def test_a_thinned_descent_goes_down_only(late: int) -> None:
    """It went up and down between the two gateways."""
    block = flight()
    pieces = cut(block, 4)
    stored = [
        piece
        for i in range(len(pieces) + late)
        for piece in (*pieces[i : i + 1], *pieces[max(i - late, 0) : i - late + 1])
    ]
    first, last = int(block.time_ns[0]), int(block.time_ns[-1])
    out = asyncio.run(decimated(once(_blocks(stored)), first_ns=first, last_ns=last, max_points=50))
    assert 40 <= len(out) <= 50
    assert (np.diff(out.values[:, PRESSURE_ALTITUDE]) < 0).all()
