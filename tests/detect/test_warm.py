"""What is warmed is all there is: whichever way frames come in, the kernel is not compiled anew while flights wait."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import orjson
import pytest

from spinfloor.adapters.exports import Format, encode_frames
from spinfloor.adapters.recordings import read_recording
from spinfloor.adapters.table_columns import ARROW, PARQUET, columns_of
from spinfloor.client import encode_batch
from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.detector.detector import Detector
from spinfloor.core.detector.kernel import run_frames, run_tick
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.defaults import default_plan
from spinfloor.detect.warm import warm_kernel
from spinfloor.ingest.batches import Wire, batch_of, read_json, read_msgpack
from spinfloor.ports.columns import block_of
from spinfloor.ports.wire import decode_block, encode_block


def _block() -> FrameBlock:
    values = np.tile(np.arange(1.0, CHANNEL_COUNT + 1), (50, 1))
    return FrameBlock(1_900_000_000_000_000_000 + np.arange(50, dtype=np.int64) * 10_000_000, values)


def _json(block: FrameBlock, _folder: Path) -> FrameBlock:
    columns = {name: column.tolist() for name, column in block.to_columns().items()}
    return batch_of(read_json(orjson.dumps({"source": "s", "sequence": 0, "columns": columns}))).block


def _table(media: str, form: Format) -> Callable[[FrameBlock, Path], FrameBlock]:
    return lambda block, _: batch_of(Wire("s", 0, columns_of(media, encode_frames(block, form), missing_time=-1))).block


def _file(form: Format) -> Callable[[FrameBlock, Path], FrameBlock]:
    def read(block: FrameBlock, folder: Path) -> FrameBlock:
        path = folder / f"flight.{form.value}"
        path.write_bytes(encode_frames(block, form))
        return read_recording(path).block

    return read


WAYS: dict[str, Callable[[FrameBlock, Path], FrameBlock]] = {
    "JSON": _json,
    "MessagePack": lambda block, _: batch_of(read_msgpack(encode_batch("s", 0, block))).block,
    "Parquet": _table(PARQUET, Format.PARQUET),
    "Arrow": _table(ARROW, Format.ARROW),
    "the journal": lambda block, _: decode_block(encode_block(block)),
    "pages of the journal": lambda block, _: block_of([encode_block(block.slice(0, 20)), encode_block(block)]),
    "a Parquet file": _file(Format.PARQUET),
    "a CSV file": _file(Format.CSV),
    "columns the wrong way round": lambda block, _: FrameBlock(
        block.time_ns[::-1][::-1], np.asfortranarray(block.values)
    ),
}


@pytest.mark.parametrize("way", WAYS)
def test_frames_that_came_in_any_way_find_the_kernel_compiled(way: str, tmp_path: Path) -> None:
    warm_kernel()
    before = len(run_frames.signatures), len(run_tick.signatures)
    detector = Detector(sortie="s", plan=default_plan())
    block = WAYS[way](_block(), tmp_path)
    detector.feed(block.slice(0, 10))
    restored = Detector.restore(detector.save())
    restored.feed(block.slice(10, 50))
    restored.tick(int(block.time_ns[-1]) + 1_000_000_000)
    assert (len(run_frames.signatures), len(run_tick.signatures)) == before
