"""Frames as a Parquet table in SI units, because only these come back bit for bit and so give the same events."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path
from typing import Final

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from spinfloor.adapters.exports.formats import parquet_options
from spinfloor.adapters.sortie_file.layout import FRAMES, damaged
from spinfloor.core.channels import CHANNEL_COUNT, CHANNELS, TIME_COLUMN
from spinfloor.core.frames import FrameBlock

ROW_GROUP: Final = 65_536
_UNITS: Final = {"radps": "rad/s", "rad": "rad", "m": "m", "mps": "m/s", "mps2": "m/s2"}


def _unit(core_name: str) -> str:
    return _UNITS.get(core_name.rpartition("_")[2], "1")


SCHEMA: Final = pa.schema(
    [
        pa.field(TIME_COLUMN, pa.int64(), nullable=False, metadata={"unit": "ns", "meaning": "UTC since 1970"}),
        *(
            pa.field(c.core_name, pa.float64(), metadata={"unit": _unit(c.core_name), "meaning": c.meaning})
            for c in CHANNELS
        ),
    ]
)


class FramesWriter:
    """Rows in the order they are given, in row groups of ROW_GROUP."""

    def __init__(self, path: Path) -> None:
        self._writer = pq.ParquetWriter(path, SCHEMA, **parquet_options(SCHEMA))
        self._waiting: list[FrameBlock] = []
        self._rows = 0
        self.frames = 0

    def add(self, block: FrameBlock) -> None:
        """More rows."""
        self._waiting.append(block)
        self._rows += len(block)
        self.frames += len(block)
        if self._rows >= ROW_GROUP:
            self._flush()

    def close(self) -> None:
        """Write what waits and the footer."""
        self._flush()
        self._writer.close()

    def _flush(self) -> None:
        if self._rows:
            block = FrameBlock.joined(self._waiting)
            columns = [pa.array(np.ascontiguousarray(c), from_pandas=True) for c in block.values.T]
            self._writer.write_table(pa.Table.from_arrays([pa.array(block.time_ns), *columns], schema=SCHEMA))
        self._waiting, self._rows = [], 0


class FramesReader:
    """The rows back, as many at a time as are asked for. Raises ArchiveError."""

    def __init__(self, path: Path) -> None:
        try:
            self._file = pq.ParquetFile(path, page_checksum_verification=True)
        except (pa.ArrowException, OSError, ValueError) as error:
            raise damaged(f"{FRAMES} is no Parquet file") from error
        if not self._file.schema_arrow.equals(SCHEMA):
            self._file.close()
            raise damaged(f"{FRAMES} has other columns than an archive's")
        self.frames = int(self._file.metadata.num_rows)
        self._blocks = self._read()
        self._left: FrameBlock | None = None

    def close(self) -> None:
        """Close the file."""
        self._blocks.close()
        self._file.close()

    def _read(self) -> Generator[FrameBlock, None, None]:
        try:
            for batch in self._file.iter_batches(batch_size=ROW_GROUP, use_threads=False):
                values = np.full((batch.num_rows, CHANNEL_COUNT), np.nan)
                for i in range(CHANNEL_COUNT):
                    values[:, i] = batch.column(i + 1).to_numpy(zero_copy_only=False)
                yield FrameBlock(batch.column(0).to_numpy().astype(np.int64), values)
        except (pa.ArrowException, OSError, ValueError) as error:
            raise damaged(f"the rows of {FRAMES} cannot be read") from error

    def take(self, rows: int) -> FrameBlock:
        """The next rows."""
        taken: list[FrameBlock] = []
        while rows > 0:
            block = self._left if self._left is not None else next(self._blocks, None)
            if block is None:
                raise damaged(f"{FRAMES} has fewer rows than the inputs say")
            count = min(rows, len(block))
            taken.append(block.slice(0, count))
            self._left = block.slice(count, len(block)) if count < len(block) else None
            rows -= count
        return FrameBlock.joined(taken)
