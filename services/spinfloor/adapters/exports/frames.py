"""Frames in every export format, in the contract's columns and units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import orjson
import pyarrow as pa

from spinfloor.adapters.exports.formats import Format, encode_table
from spinfloor.core.channels import CHANNELS, TIME_COLUMN
from spinfloor.core.frames import Float64Array, FrameBlock
from spinfloor.ports.columns import FrameColumns, columns_of_block, positions_in
from spinfloor.ports.wire import mask_of

LINES_AT_ONCE: Final = 10_000


def encode_frames(block: FrameBlock, form: Format) -> bytes:
    """JSON: `{"columns": {name: [..]}}`, as ingest takes it. NDJSON: one object per frame. Others: a table."""
    if form is Format.JSON:
        columns = {name: np.ascontiguousarray(c) for name, c in block.to_columns().items()}
        return orjson.dumps({"columns": columns}, option=orjson.OPT_SERIALIZE_NUMPY)
    by_column = columns_of_block(block, mask_of(block))
    if form is Format.NDJSON:
        return b"".join(frame_lines(by_column))
    return encode_table(pa.Table.from_batches([frames_batch(by_column)]), form)


def frame_lines(columns: FrameColumns) -> Iterator[bytes]:
    """A line per frame: numbers are written column by column, which is quicker than an object per frame, then put in rows.

    A piece at a time, since the texts take several times the room of the numbers.
    """
    names = (TIME_COLUMN, *(CHANNELS[i].column for i in columns.positions))
    line = b"{" + b",".join(b'"%b":%%b' % name.encode() for name in names) + b"}\n"
    for start in range(0, len(columns), LINES_AT_ONCE):
        piece = columns.slice(start, start + LINES_AT_ONCE)
        numbers = (piece.time_ns, *piece.edge)
        texts = [orjson.dumps(column, option=orjson.OPT_SERIALIZE_NUMPY)[1:-1].split(b",") for column in numbers]
        for row in zip(*texts, strict=True):
            yield line % row


def frames_schema(mask: int) -> pa.Schema:
    """The unit and meaning of each column are in its metadata."""
    return _schema(positions_in(mask))


def _schema(positions: tuple[int, ...]) -> pa.Schema:
    fields = [pa.field(TIME_COLUMN, pa.int64(), nullable=False, metadata={"unit": "ns"})]
    for channel in (CHANNELS[i] for i in positions):
        about = {"unit": channel.unit, "meaning": channel.meaning}
        fields.append(pa.field(channel.column, pa.float64(), metadata=about))
    return pa.schema(fields)


def frames_batch(columns: FrameColumns) -> pa.RecordBatch:
    """One row per frame, columns as in `frames_schema`; missing values are null.

    Nothing is copied: the numbers stay where they are, and only a column with missing values gets a bit for each.
    """
    time = pa.Array.from_buffers(pa.int64(), len(columns), [None, pa.py_buffer(columns.time_ns)], null_count=0)
    return pa.RecordBatch.from_arrays([time, *map(_floats, columns.edge)], schema=_schema(columns.positions))


def _floats(column: Float64Array) -> pa.Array:
    data = pa.py_buffer(column)
    if not len(column) or not np.isnan(column.min()):  # the least of numbers of which one is NaN is NaN
        return pa.Array.from_buffers(pa.float64(), len(column), [None, data], null_count=0)
    there = ~np.isnan(column)
    bits = pa.py_buffer(np.packbits(there, bitorder="little"))
    missing = len(column) - int(np.count_nonzero(there))
    return pa.Array.from_buffers(pa.float64(), len(column), [bits, data], null_count=missing)
