"""Frames in every export format, in the contract's columns and units."""

from __future__ import annotations

import numpy as np
import orjson
import pyarrow as pa

from spinfloor.adapters.exports.formats import Format, encode_records, encode_table
from spinfloor.core.channels import CHANNEL_INDEX, CHANNELS
from spinfloor.core.frames import FrameBlock


def encode_frames(block: FrameBlock, form: Format) -> bytes:
    """JSON: `{"columns": {name: [..]}}`, as ingest takes it. NDJSON: one object per frame. Others: a table."""
    if form is Format.JSON:
        columns = {name: np.ascontiguousarray(c) for name, c in block.to_columns().items()}
        return orjson.dumps({"columns": columns}, option=orjson.OPT_SERIALIZE_NUMPY)
    table = frames_table(block)
    if form is Format.NDJSON:
        return encode_records(table.to_pylist(), form)
    return encode_table(table, form)


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
