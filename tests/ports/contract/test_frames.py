"""FrameStore: frames back by time."""

from __future__ import annotations

import numpy as np
from tests.ports.contract.sides import Side, batch

from spinfloor.ports import Extent, TickInput


async def test_nothing_yet(side: Side) -> None:
    sortie = await side.sortie()
    assert await side.ports.frames.extent(sortie) == Extent(0, 0, 0)
    assert [b async for b in side.ports.frames.blocks(sortie)] == []


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
