"""CSV recordings: header rows, units row, damaged lines left out with a note saying which."""

from __future__ import annotations

import codecs
from pathlib import Path

import pyarrow as pa
import pyarrow.csv as pacsv

from spinfloor.adapters.recordings.csv_header import CsvLayout, find_layout
from spinfloor.adapters.recordings.recording import Notes, RecordingError, Source
from spinfloor.adapters.recordings.tabular import table_from_arrow

_HEAD_BYTES = 65_536
_CHECKED_AT_ONCE_BYTES = 1 << 20
_NULLS = ["", "nan", "NaN", "NAN", "null", "NULL", "NA", "N/A", "n/a", "None", "-"]


def read_csv(path: Path) -> Source:
    """The file's columns under their own names. Raises RecordingError when it has no header or no rows of numbers."""
    notes = Notes()
    with path.open("rb") as file:
        raw = file.read(_HEAD_BYTES)
    encoding = _encoding(path)
    layout = find_layout(raw.decode(encoding, "replace"), path.name)
    table = _read_table(path, layout, encoding, notes)
    facts: dict[str, str | int | float] = {"header_rows": layout.header_lines, "encoding": encoding}
    return Source("csv", (table_from_arrow("table", table, notes, layout.units),), notes, facts)


def _encoding(path: Path) -> str:
    """UTF-8 where the whole file is; else Latin-1, which takes any byte, so that a damaged line costs only itself."""
    decoder = codecs.getincrementaldecoder("utf-8-sig")()
    with path.open("rb") as file:
        try:
            while part := file.read(_CHECKED_AT_ONCE_BYTES):
                decoder.decode(part)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "latin-1"
    return "utf-8-sig"


def _read_table(path: Path, layout: CsvLayout, encoding: str, notes: Notes) -> pa.Table:
    read = pacsv.ReadOptions(
        use_threads=False,
        skip_rows=layout.header_lines,
        column_names=list(layout.names),
        encoding="utf8" if encoding == "utf-8-sig" else "latin1",
    )
    options: dict[str, object] = {
        "null_values": _NULLS,
        "strings_can_be_null": True,
        "decimal_point": layout.decimal_point,
        "timestamp_parsers": [pacsv.ISO8601],
    }
    try:
        return pacsv.read_csv(path, read, _parse(layout, notes), pacsv.ConvertOptions(**options))
    except pa.ArrowException:
        notes.clear()  # a cell of another type further down: read every cell as text and convert one by one
    options["column_types"] = dict.fromkeys(layout.names, pa.string())
    try:
        return pacsv.read_csv(path, read, _parse(layout, notes), pacsv.ConvertOptions(**options))
    except pa.ArrowException as error:
        raise RecordingError(
            expected="a CSV file with rows of numbers under its header",
            got=f"{path.name}, which could not be read as text rows",
            now="nothing could be read from it",
            path=path.name,
        ) from error


def _parse(layout: CsvLayout, notes: Notes) -> pacsv.ParseOptions:
    def damaged(row: pacsv.InvalidRow) -> str:
        where = f"line {row.number}" if row.number is not None else "a line whose number is not known"
        notes.add(where, f"line has {row.actual_columns} values where {row.expected_columns} were expected; left out")
        return "skip"

    return pacsv.ParseOptions(delimiter=layout.delimiter, invalid_row_handler=damaged)
