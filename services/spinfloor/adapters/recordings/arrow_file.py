"""Arrow IPC recordings, file or stream form; a cut file is read up to the last whole batch."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa

from spinfloor.adapters.recordings.recording import Notes, RecordingError, Source
from spinfloor.adapters.recordings.tabular import table_from_arrow

FILE_MAGIC = b"ARROW1"
_STREAM_OFFSET = 8  # a file is its magic, padded to eight bytes, and then the stream form


def read_arrow(path: Path) -> Source:
    """The file's columns under their own names; units from the field metadata.

    Raises RecordingError when not even the schema can be read.
    """
    notes = Notes()
    with path.open("rb") as file:
        is_file = file.read(len(FILE_MAGIC)) == FILE_MAGIC
    with pa.memory_map(str(path)) as memory:
        memory.seek(_STREAM_OFFSET if is_file else 0)
        table = _batches(path, memory, notes)
    return Source("arrow", (table_from_arrow("table", table, notes),), notes, {"form": "file" if is_file else "stream"})


def _batches(path: Path, memory: pa.NativeFile, notes: Notes) -> pa.Table:
    try:
        reader = pa.ipc.open_stream(memory)
    except (pa.ArrowException, OSError, ValueError) as error:
        raise RecordingError(
            expected="an Arrow IPC file or stream with its schema at the start",
            got=f"{path.name}, whose schema is missing or damaged",
            now="nothing could be read from it",
            path=path.name,
        ) from error
    batches: list[pa.RecordBatch] = []
    while True:
        try:
            batch = reader.read_next_batch()
            batch.validate(full=True)
        except StopIteration:
            break
        except (pa.ArrowException, OSError, ValueError):
            notes.add(f"batch {len(batches)}", "damaged or cut short; it and what follows were left out")
            break
        batches.append(batch)
    return pa.Table.from_batches(batches, schema=reader.schema)
