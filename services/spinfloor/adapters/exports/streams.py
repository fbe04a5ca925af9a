"""Exports piece by piece, so that the memory they take does not grow with the sortie."""

from __future__ import annotations

import asyncio
import io
from collections.abc import AsyncIterator, Callable, Iterable, Mapping, Sequence
from typing import Any, Final

import numpy as np
import orjson
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from spinfloor.adapters.exports.events import SCHEMA as EVENTS_SCHEMA
from spinfloor.adapters.exports.events import events_table
from spinfloor.adapters.exports.formats import Format, encode_records
from spinfloor.adapters.exports.frames import frame_lines, frames_schema, frames_table
from spinfloor.core.frames import FrameBlock

GROUP_ROWS: Final = 32_768  # of a Parquet row group; smaller ones compress badly
PIECE_ROWS: Final = 8_192


class _Sink(io.RawIOBase):
    """What a writer has written, to be taken away piece by piece; it counts on as a file would."""

    def __init__(self) -> None:
        super().__init__()
        self._pieces: list[bytes] = []
        self._at = 0

    def writable(self) -> bool:
        return True

    def tell(self) -> int:
        return self._at

    def write(self, data: Any) -> int:
        piece = bytes(data)
        self._pieces.append(piece)
        self._at += len(piece)
        return len(piece)

    def taken(self) -> bytes:
        pieces, self._pieces = self._pieces, []
        return b"".join(pieces)


class TableStream:
    """A table written batch by batch: CSV, Parquet (zstd, a row group for each) or an Arrow IPC stream."""

    def __init__(self, schema: pa.Schema, form: Format) -> None:
        """Raises ValueError for a format that is not a table's."""
        self._sink = _Sink()
        writers: dict[Format, Callable[[], Any]] = {
            Format.CSV: lambda: pacsv.CSVWriter(self._sink, schema),
            Format.PARQUET: lambda: pq.ParquetWriter(self._sink, schema, compression="zstd", write_page_checksum=True),
            Format.ARROW: lambda: pa.ipc.new_stream(self._sink, schema),
        }
        if form not in writers:
            raise ValueError(f"{form} is not a table format")
        self._writer = writers[form]()

    def add(self, table: pa.Table) -> bytes:
        """What has been written since the last time."""
        self._writer.write_table(table)
        return self._sink.taken()

    def end(self) -> bytes:
        """The rest."""
        self._writer.close()
        return self._sink.taken()


class EventStream:
    """Events of a run, some records at a time. JSON: `{"run", "events": [..], "after"}`, as of one page."""

    def __init__(self, run: str, form: Format) -> None:
        self._form = form
        self._run = run
        self._after = -1
        self._table = None if form in (Format.JSON, Format.NDJSON) else TableStream(EVENTS_SCHEMA, form)

    def add(self, records: Sequence[Mapping[str, Any]]) -> bytes:
        """Their bytes; records: one at least."""
        if self._table is not None:
            return self._table.add(events_table(records))
        if self._form is Format.NDJSON:
            return encode_records(records, self._form)
        head = b'{"run":%b,"events":[' % orjson.dumps(self._run) if self._after < 0 else b","
        self._after = records[-1]["sequence"]
        return head + encode_records(records, self._form)[1:-1]

    def end(self) -> bytes:
        """The rest."""
        if self._table is not None:
            return self._table.end()
        return b'],"after":%d}' % self._after if self._form is Format.JSON else b""


class _FrameStream:
    def __init__(self, mask: int, form: Format) -> None:
        self._mask = mask
        self._table = None if form is Format.NDJSON else TableStream(frames_schema(mask), form)
        self._rows = GROUP_ROWS if form is Format.PARQUET else PIECE_ROWS
        self._blocks: list[FrameBlock] = []
        self._waiting = 0

    def add(self, block: FrameBlock) -> Iterable[bytes]:
        """Pieces, as many as have become whole by it."""
        for start in range(0, len(block), self._rows):
            piece = block.slice(start, min(start + self._rows, len(block)))
            self._blocks.append(piece)
            self._waiting += len(piece)
            if self._waiting >= self._rows:
                yield self._written()

    def end(self) -> bytes:
        """The rest."""
        rest = self._written() if self._blocks else b""
        return rest if self._table is None else rest + self._table.end()

    def _written(self) -> bytes:
        blocks, self._blocks, self._waiting = self._blocks, [], 0
        block = FrameBlock(np.concatenate([b.time_ns for b in blocks]), np.concatenate([b.values for b in blocks]))
        if self._table is None:
            return b"".join(frame_lines(block, self._mask))
        return self._table.add(frames_table(block, self._mask))


async def stream_frames(blocks: AsyncIterator[FrameBlock], mask: int, form: Format) -> AsyncIterator[bytes]:
    """Frames as NDJSON, CSV, Parquet or Arrow. mask: the channels that get a column, bit = position in CHANNELS."""
    stream = _FrameStream(mask, form)
    async for block in blocks:
        pieces = iter(stream.add(block))
        while (piece := await asyncio.to_thread(next, pieces, None)) is not None:
            yield piece
    yield await asyncio.to_thread(stream.end)
