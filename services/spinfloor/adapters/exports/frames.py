"""Frames in every export format, in the contract's columns and units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np
import orjson
import pyarrow as pa

from spinfloor.adapters.exports.formats import Format, encode_table
from spinfloor.core.channels import CHANNEL_INDEX, CHANNELS
from spinfloor.core.frames import FrameBlock

LINES_AT_ONCE: Final = 10_000


def encode_frames(block: FrameBlock, form: Format) -> bytes:
    """JSON: `{"columns": {name: [..]}}`, as ingest takes it. NDJSON: one object per frame. Others: a table."""
    if form is Format.JSON:
        columns = {name: np.ascontiguousarray(c) for name, c in block.to_columns().items()}
        return orjson.dumps({"columns": columns}, option=orjson.OPT_SERIALIZE_NUMPY)
    if form is Format.NDJSON:
        return b"".join(_lines(block))
    return encode_table(frames_table(block), form)


def _lines(block: FrameBlock) -> Iterator[bytes]:
    """A line per frame: numbers are written column by column, which is quicker than an object per frame, then put in rows.

    A piece at a time, since the texts take several times the room of the numbers.
    """
    columns = block.to_columns()
    line = b"{" + b",".join(b'"%b":%%b' % name.encode() for name in columns) + b"}\n"
    for start in range(0, len(block), LINES_AT_ONCE):
        pieces = [np.ascontiguousarray(values[start : start + LINES_AT_ONCE]) for values in columns.values()]
        texts = [orjson.dumps(piece, option=orjson.OPT_SERIALIZE_NUMPY)[1:-1].split(b",") for piece in pieces]
        for row in zip(*texts, strict=True):
            yield line % row


def frames_table(block: FrameBlock) -> pa.Table:
    """One row per frame; missing values are null; the unit and meaning of each column are in its metadata."""
    fields: list[pa.Field] = []
    arrays: list[pa.Array] = []
    for name, values in block.to_columns().items():
        if name in CHANNEL_INDEX:
            channel = CHANNELS[CHANNEL_INDEX[name]]
            fields.append(pa.field(name, pa.float64(), metadata={"unit": channel.unit, "meaning": channel.meaning}))
            arrays.append(pa.array(values, type=pa.float64(), from_pandas=True))
        else:
            fields.append(pa.field(name, pa.int64(), nullable=False, metadata={"unit": "ns"}))
            arrays.append(pa.array(values, type=pa.int64()))
    return pa.Table.from_arrays(arrays, schema=pa.schema(fields))
