"""Part 4: frames out of a store that holds them as a live source or a recorder sent them, against the library's own writing."""

from __future__ import annotations

import asyncio
import tracemalloc
from collections.abc import Awaitable, Callable
from functools import partial
from pathlib import Path
from time import perf_counter
from typing import Final

import pyarrow as pa
from tests.tools.bench import data
from tests.tools.bench.table import Row
from tests.tools.bench.timing import best_s

from spinfloor.adapters.exports import Format, encode_frames, stream_frames
from spinfloor.adapters.sqlite import open_store
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.bundle import Ports
from spinfloor.ports.inputs import FramesInput
from spinfloor.ports.sorties import SortieKind, SortieRecord

FRAMES: Final = 200_000
FORMS: Final = (Format.ARROW, Format.PARQUET, Format.CSV, Format.NDJSON)
SENT: Final = ((2, "live packets of 2"), (2_000, "batches of 2,000"))
AT_ONCE: Final = 1_000  # inputs put into the store in one commit
RUNS: Final = 3


def run(folder: Path, scale: float) -> list[Row]:
    """All rows of this part."""
    frames = max(4_000, round(FRAMES * min(scale, 1.0)))
    block = data.sets(-(-frames // len(data.one_set(0)))).slice(0, frames)
    alone = {form: best_s(partial(encode_frames, block, form)) for form in FORMS}
    rows = []
    for size, words in SENT:
        found = asyncio.run(_measured(folder / f"exports-{size}", block, size))
        for form in FORMS:
            taken_s, peak_mb = found[form]
            rows.append(
                Row(
                    f"export_{form.value}_{size}", f"export as {form.value}, from {words} (peak {peak_mb:.0f} MB)",
                    taken_s / frames * 1e6, "us/frame", taken_s / alone[form], "encoding the same frames from memory",
                )
            )  # fmt: skip
    return rows


async def _measured(folder: Path, block: FrameBlock, size: int) -> dict[Format, tuple[float, float]]:
    """Seconds, and the most memory held, by format."""
    ports = await _stored(folder, block, size)
    try:
        found = {}
        for form in FORMS:
            taken = [await _timed(partial(_exported, ports, form)) for _ in range(RUNS)]
            tracemalloc.start()
            arrow = await _exported(ports, form)
            held = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
            found[form] = min(taken), (held + arrow) / 1e6
        return found
    finally:
        await ports.close()


async def _timed(work: Callable[[], Awaitable[object]]) -> float:
    begun = perf_counter()
    await work()
    return perf_counter() - begun


async def _stored(folder: Path, block: FrameBlock, size: int) -> Ports:
    ports = open_store(folder)
    await ports.sorties.create(SortieRecord("s", SortieKind.FLIGHT, 1, "aircraft", {"title": "bench"}))
    inputs = [FramesInput("t", n, 1, block.slice(i, i + size)) for n, i in enumerate(range(0, len(block), size))]
    for first in range(0, len(inputs), AT_ONCE):
        await ports.inputs.append_all("s", inputs[first : first + AT_ONCE])
    return ports


async def _exported(ports: Ports, form: Format) -> int:
    """The whole sortie; the most bytes that Arrow held meanwhile."""
    pool = pa.default_memory_pool()
    before, most = pool.bytes_allocated(), 0
    mask = await ports.frames.channels("s")
    async for _ in stream_frames(ports.frames.columns("s", mask), mask, form):
        most = max(most, pool.bytes_allocated() - before)
    return most
