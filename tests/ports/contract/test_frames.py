"""FrameStore: frames back by time."""

from __future__ import annotations

import numpy as np
from tests.ports.contract.sides import Side, batch

from spinfloor.core.channels import CHANNEL_COUNT, CHANNELS
from spinfloor.core.frames import FrameBlock
from spinfloor.ports import Extent, TickInput
from spinfloor.ports.frames import PAGE_FRAMES
from spinfloor.ports.inputs import FramesInput


async def test_nothing_yet(side: Side) -> None:
    sortie = await side.sortie()
    assert await side.ports.frames.extent(sortie) == Extent(0, 0, 0)
    assert [b async for b in side.ports.frames.blocks(sortie)] == []
    assert await side.ports.frames.channels(sortie) == 0


async def test_all_frames_in_order_bit_for_bit(side: Side) -> None:
    sortie = await side.sortie()
    sent = [batch(i, n=4) for i in range(5)]
    for one in sent:
        await side.ports.inputs.append(sortie, one)
        await side.ports.inputs.append(sortie, TickInput(1, 1))
    await side.ports.inputs.append(sortie, batch(9, n=0))
    await side.settle()
    assert await side.ports.frames.extent(sortie) == Extent(1_000, 5_030, 20)
    blocks = [b async for b in side.ports.frames.blocks(sortie)]
    assert np.concatenate([b.time_ns for b in blocks]).tolist() == [t for s in sent for t in s.block.time_ns.tolist()]
    got = np.concatenate([b.values for b in blocks])
    expected = np.concatenate([s.block.values for s in sent])
    assert (np.isnan(got) == np.isnan(expected)).all()
    assert (got.view(np.int64) == expected.view(np.int64))[~np.isnan(expected)].all()


async def test_a_span_holds_its_start_and_not_its_end(side: Side) -> None:
    sortie = await side.sortie()
    for i in range(4):
        await side.ports.inputs.append(sortie, batch(i, n=4))
    await side.settle()
    blocks = [b async for b in side.ports.frames.blocks(sortie, from_ns=2_010, to_ns=3_020)]
    times = np.concatenate([b.time_ns for b in blocks]).tolist()
    assert times == [2_010, 2_020, 2_030, 3_000, 3_010]


async def test_the_channels_of_a_span_are_those_of_its_batches(side: Side) -> None:
    sortie = await side.sortie()
    for i, channels in enumerate(([0, 1, 2, 3], [0, 1, 2, 3, 7], [0, 1, 2, 3, 18])):
        values = np.full((4, CHANNEL_COUNT), np.nan)
        values[2, channels] = 1.0
        times = np.array([1_000, 1_010, 1_020, 1_030]) + 1_000 * i
        await side.ports.inputs.append(sortie, FramesInput("s", i, 1, FrameBlock(times, values)))
    await side.settle()
    four = 0b1111
    assert await side.ports.frames.channels(sortie) == four | 1 << 7 | 1 << 18
    assert await side.ports.frames.channels(sortie, from_ns=2_000, to_ns=3_000) == four | 1 << 7
    assert await side.ports.frames.channels(sortie, from_ns=3_030) == four | 1 << 18


async def test_a_block_is_bounded_however_large_the_batches(side: Side) -> None:
    sortie = await side.sortie()
    rows = PAGE_FRAMES // 10
    for i in range(12):
        block = FrameBlock(np.arange(rows) + i * rows, np.zeros((rows, CHANNEL_COUNT)))
        await side.ports.inputs.append(sortie, FramesInput("s", i, 1, block))
    await side.settle()
    blocks = [b async for b in side.ports.frames.blocks(sortie)]
    assert [len(b) for b in blocks] == [10 * rows, 2 * rows]
    assert np.concatenate([b.time_ns for b in blocks]).tolist() == list(range(12 * rows))


async def test_columns_hold_what_the_blocks_hold(side: Side) -> None:
    """Batches of several lengths and channels, two sources by turns: those alike are read together, and in order."""
    sortie = await side.sortie()
    rng = np.random.default_rng(11)
    at = 1_000
    for i in range(60):
        rows = (2, 2, 2, 1, 7)[i // 12]
        values = np.full((rows, CHANNEL_COUNT), np.nan)
        values[:, [0, 1, 2, 3, *((9, 18) if i % 3 == 0 else (7,))]] = rng.normal(
            0.0, 100.0, (rows, 6 if i % 3 == 0 else 5)
        )
        values[0, 3] = np.nan
        block = FrameBlock(at + 10 * np.arange(rows, dtype=np.int64), values)
        await side.ports.inputs.append(sortie, FramesInput("ab"[i % 2], i, 1, block))
        at += 10 * rows
    await side.settle()
    mask = await side.ports.frames.channels(sortie)
    for span in ({}, {"from_ns": 1_110, "to_ns": at - 210}):
        blocks = [b async for b in side.ports.frames.blocks(sortie, **span)]
        pages = [c async for c in side.ports.frames.columns(sortie, mask, **span)]
        assert [len(page) for page in pages] == [len(block) for block in blocks]
        block, page = blocks[0], pages[0]
        assert page.time_ns.tolist() == block.time_ns.tolist()
        assert page.positions == (0, 1, 2, 3, 7, 9, 18)
        for position, edge in zip(page.positions, page.edge, strict=True):
            np.testing.assert_array_equal(edge, block.values[:, position] / CHANNELS[position].si_per_unit)
            assert edge.flags.c_contiguous


async def test_one_batch_alone_comes_by_column_too(side: Side) -> None:
    sortie = await side.sortie()
    sent = batch(3, n=5)
    await side.ports.inputs.append(sortie, sent)
    await side.settle()
    pages = [c async for c in side.ports.frames.columns(sortie, 1 << 18)]
    assert [page.time_ns.tolist() for page in pages] == [sent.block.time_ns.tolist()]
    assert pages[0].positions == (0, 1, 2, 3, 18)
    for position, edge in zip(pages[0].positions, pages[0].edge, strict=True):
        np.testing.assert_array_equal(edge, sent.block.values[:, position] / CHANNELS[position].si_per_unit)
