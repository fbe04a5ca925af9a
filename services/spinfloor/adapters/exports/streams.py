"""Exports piece by piece, so that the memory they take does not grow with the sortie."""

from __future__ import annotations

import asyncio
import io
from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from typing import Any, Final

import orjson
import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from spinfloor.adapters.exports.events import SCHEMA as EVENTS_SCHEMA
from spinfloor.adapters.exports.events import events_table
from spinfloor.adapters.exports.formats import Format, encode_records, parquet_options
from spinfloor.adapters.exports.frames import frame_lines, frames_batch, frames_schema
from spinfloor.ports.columns import FrameColumns

GROUP_ROWS: Final = 32_768  # of a Parquet row group; smaller ones compress badly
PIECE_ROWS: Final = 8_192
END_OF_STREAM: Final = b"\xff\xff\xff\xff\0\0\0\0"  # of an Arrow IPC stream

Piece = bytes | memoryview


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


class _ArrowStream:
    """An Arrow IPC stream; a message is written once, into memory of its size."""

    def __init__(self, schema: pa.Schema) -> None:
        self._head: bytes = schema.serialize().to_pybytes()

    def write(self, batches: Sequence[pa.RecordBatch]) -> list[Piece]:
        """The messages of these batches, the schema's before the first."""
        pieces: list[Piece] = [self._head] if self._head else []
        self._head = b""
        return [*pieces, *(memoryview(batch.serialize()) for batch in batches)]

    def end(self) -> list[Piece]:
        """The rest."""
        return [*self.write(()), END_OF_STREAM]


class _FileStream:
    """CSV, an Arrow IPC file, or Parquet with a row group for each time it is written to."""

    def __init__(self, schema: pa.Schema, form: Format) -> None:
        self._sink = _Sink()
        self._schema = schema
        self._writer: Any
        if form is Format.CSV:
            self._writer = pacsv.CSVWriter(self._sink, schema)
        elif form is Format.ARROW_FILE:
            self._writer = pa.ipc.new_file(self._sink, schema)
        else:
            self._writer = pq.ParquetWriter(self._sink, schema, **parquet_options(schema))

    def write(self, batches: Sequence[pa.RecordBatch]) -> list[Piece]:
        """What has been written since the last time."""
        self._writer.write_table(pa.Table.from_batches(batches, schema=self._schema))
        return [self._sink.taken()]

    def end(self) -> list[Piece]:
        """The rest."""
        self._writer.close()
        return [self._sink.taken()]


def _table_stream(schema: pa.Schema, form: Format) -> _ArrowStream | _FileStream:
    """Raises ValueError for a format that is not a table's."""
    if form is Format.ARROW:
        return _ArrowStream(schema)
    if form in (Format.CSV, Format.PARQUET, Format.ARROW_FILE):
        return _FileStream(schema, form)
    raise ValueError(f"{form} is not a table format")


class EventStream:
    """Events of a run, some records at a time. JSON: `{"run", "events": [..], "after"}`, as of one page."""

    def __init__(self, run: str, form: Format) -> None:
        self._form = form
        self._run = run
        self._after = -1
        self._table = None if form in (Format.JSON, Format.NDJSON) else _table_stream(EVENTS_SCHEMA, form)

    def add(self, records: Sequence[Mapping[str, Any]]) -> bytes:
        """Their bytes; records: one at least."""
        if self._table is not None:
            return b"".join(self._table.write(events_table(records).to_batches()))
        if self._form is Format.NDJSON:
            return encode_records(records, self._form)
        head = b'{"run":%b,"events":[' % orjson.dumps(self._run) if self._after < 0 else b","
        self._after = records[-1]["sequence"]
        return head + encode_records(records, self._form)[1:-1]

    def end(self) -> bytes:
        """The rest."""
        if self._table is not None:
            return b"".join(self._table.end())
        return b'],"after":%d}' % self._after if self._form is Format.JSON else b""


class _FrameStream:
    """Parquet is written once a row group is full, the others as the frames come."""

    def __init__(self, mask: int, form: Format) -> None:
        self._table = None if form is Format.NDJSON else _table_stream(frames_schema(mask), form)
        self._rows, self._least = (GROUP_ROWS, GROUP_ROWS) if form is Format.PARQUET else (PIECE_ROWS, 1)
        self._waiting: list[FrameColumns] = []
        self._count = 0

    def add(self, columns: FrameColumns) -> Iterator[Piece]:
        """Pieces, as many as have become whole by it."""
        start = 0
        while start < len(columns):
            stop = min(start + self._rows - self._count, len(columns))
            self._waiting.append(columns.slice(start, stop))
            self._count += stop - start
            start = stop
            if self._count >= self._least:
                yield from self._written()

    def end(self) -> Iterator[Piece]:
        """The rest."""
        if self._waiting:
            yield from self._written()
        if self._table is not None:
            yield from self._table.end()

    def _written(self) -> list[Piece]:
        waiting, self._waiting, self._count = self._waiting, [], 0
        if self._table is None:
            return [b"".join(frame_lines(columns)) for columns in waiting]
        return self._table.write([frames_batch(columns) for columns in waiting])


async def stream_frames(pages: AsyncIterator[FrameColumns], mask: int, form: Format) -> AsyncIterator[Piece]:
    """Frames as NDJSON, CSV, Parquet or Arrow. mask: as the pages were asked for with."""
    stream = _FrameStream(mask, form)
    async for columns in pages:
        async for piece in _aside(stream.add(columns)):
            yield piece
    async for piece in _aside(stream.end()):
        yield piece


async def _aside(pieces: Iterator[Piece]) -> AsyncIterator[Piece]:
    """Each made on a thread."""
    while (piece := await asyncio.to_thread(next, pieces, None)) is not None:
        yield piece
