"""Frames in every export format, in the contract's columns and units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import orjson
import pyarrow as pa

from spinfloor.adapters.exports.formats import Format, encode_table
from spinfloor.core.channels import CHANNELS, TIME_COLUMN
from spinfloor.core.frames import FrameBlock

LINES_AT_ONCE: Final = 10_000


def encode_frames(block: FrameBlock, form: Format) -> bytes:
    """JSON: `{"columns": {name: [..]}}`, as ingest takes it. NDJSON: one object per frame. Others: a table."""
    if form is Format.JSON:
        columns = {name: np.ascontiguousarray(c) for name, c in block.to_columns().items()}
        return orjson.dumps({"columns": columns}, option=orjson.OPT_SERIALIZE_NUMPY)
    mask = mask_of(block)
    if form is Format.NDJSON:
        return b"".join(frame_lines(block, mask))
    return encode_table(frames_table(block, mask), form)


def mask_of(block: FrameBlock) -> int:
    """The channels that have a value at all, bit = position in CHANNELS."""
    present = ~np.isnan(block.values).all(axis=0)
    return sum(1 << int(i) for i in np.flatnonzero(present))


def channels_in(mask: int) -> list[int]:
    """Positions of the channels that get a column: the required ones and those in the mask."""
    return [i for i, channel in enumerate(CHANNELS) if channel.required or mask >> i & 1]


def frame_lines(block: FrameBlock, mask: int) -> Iterator[bytes]:
    """A line per frame: numbers are written column by column, which is quicker than an object per frame, then put in rows.

    A piece at a time, since the texts take several times the room of the numbers.
    """
    columns = _columns(block, mask)
    line = b"{" + b",".join(b'"%b":%%b' % name.encode() for name in columns) + b"}\n"
    for start in range(0, len(block), LINES_AT_ONCE):
        pieces = [np.ascontiguousarray(values[start : start + LINES_AT_ONCE]) for values in columns.values()]
        texts = [orjson.dumps(piece, option=orjson.OPT_SERIALIZE_NUMPY)[1:-1].split(b",") for piece in pieces]
        for row in zip(*texts, strict=True):
            yield line % row


def _columns(block: FrameBlock, mask: int) -> dict[str, npt.NDArray[Any]]:
    edge = {CHANNELS[i].column: block.values[:, i] / CHANNELS[i].si_per_unit for i in channels_in(mask)}
    return {TIME_COLUMN: block.time_ns, **edge}


def frames_schema(mask: int) -> pa.Schema:
    """The unit and meaning of each column are in its metadata."""
    fields = [pa.field(TIME_COLUMN, pa.int64(), nullable=False, metadata={"unit": "ns"})]
    for channel in (CHANNELS[i] for i in channels_in(mask)):
        about = {"unit": channel.unit, "meaning": channel.meaning}
        fields.append(pa.field(channel.column, pa.float64(), metadata=about))
    return pa.schema(fields)


def frames_table(block: FrameBlock, mask: int) -> pa.Table:
    """One row per frame, columns as in `frames_schema`; missing values are null."""
    schema = frames_schema(mask)
    columns = _columns(block, mask).values()
    arrays = [pa.array(c, type=f.type, from_pandas=True) for c, f in zip(columns, schema, strict=True)]
    return pa.Table.from_arrays(arrays, schema=schema)
