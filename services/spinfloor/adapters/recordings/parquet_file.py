"""Parquet recordings: whole, or row group by row group when some of them are damaged."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from spinfloor.adapters.recordings.recording import Notes, RecordingError, Source
from spinfloor.adapters.recordings.tabular import table_from_arrow


def read_parquet(path: Path) -> Source:
    """The file's columns under their own names; units from the column metadata (`unit` or `units`).

    Raises RecordingError when the footer is missing or damaged: then no column can be found.
    """
    notes = Notes()
    try:
        file = pq.ParquetFile(path, page_checksum_verification=True)
    except (pa.ArrowException, OSError, ValueError) as error:
        raise RecordingError(
            expected="a whole Parquet file, with its footer at the end",
            got=f"{path.name}, whose footer is missing or damaged ({path.stat().st_size} bytes; was it cut short?)",
            now="nothing could be read from it",
            path=path.name,
        ) from error
    with file:
        table = _whole_or_groups(path, file, notes)
    return Source("parquet", (table_from_arrow("table", table, notes),), notes, {"row_groups": file.num_row_groups})


def _whole_or_groups(path: Path, file: pq.ParquetFile, notes: Notes) -> pa.Table:
    try:
        return file.read(use_threads=False)
    except (pa.ArrowException, OSError, ValueError):
        pass
    kept: list[pa.Table] = []
    for i in range(file.num_row_groups):
        try:
            kept.append(file.read_row_group(i, use_threads=False))
        except (pa.ArrowException, OSError, ValueError):
            rows = file.metadata.row_group(i).num_rows
            notes.add(f"row group {i} of {file.num_row_groups}", f"{rows} rows are damaged and were left out")
    if not kept:
        raise RecordingError(
            expected="a Parquet file with at least one readable row group",
            got=f"{path.name}, where all {file.num_row_groups} are damaged",
            now="nothing could be read from it",
            path=path.name,
        )
    return pa.concat_tables(kept)
