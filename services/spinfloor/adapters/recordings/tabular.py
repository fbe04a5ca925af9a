"""Arrow tables to the recording's own tables: the part CSV, Parquet and Arrow share."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from spinfloor.adapters.recordings.recording import AnyArray, Column, Notes, Table
from spinfloor.adapters.recordings.text_cells import numbers_from_text
from spinfloor.adapters.recordings.vectors import UNIT_KEYS


def table_from_arrow(name: str, table: pa.Table, notes: Notes, units: dict[str, str] | None = None) -> Table:
    """Numeric columns as arrays; the unit comes from `units`, else from the field's metadata, else None.

    Instants and times of day become whole nanoseconds, text what `text_cells` makes of it. Columns of other types (nested,
    binary) are left out with a note.
    """
    columns: dict[str, Column] = {}
    table = _readable_names(table, notes)
    for field_, chunked in zip(table.schema, table.columns, strict=True):
        if field_.name in columns:
            notes.add(f"column {field_.name}", "column name appears twice; the first was read")
            continue
        found = _column(field_.name, chunked, notes)
        if found is not None:
            unit = found.unit or (units or {}).get(field_.name) or _unit_of(field_)
            columns[field_.name] = Column(found.values, unit)
    return Table(name, columns)


def _readable_names(table: pa.Table, notes: Notes) -> pa.Table:
    """A damaged name that is no text is replaced by the column's number, with a note."""
    names = []
    for i in range(table.num_columns):
        try:
            names.append(table.schema.field(i).name)
        except UnicodeDecodeError:
            names.append(f"column {i + 1}")
            notes.add(names[-1], "its name is damaged and is no text; its number stands in for it")
    return table.rename_columns(names)


def _unit_of(field_: pa.Field) -> str | None:
    metadata = field_.metadata or {}
    for key in UNIT_KEYS:
        if key.encode() in metadata:
            return str(metadata[key.encode()].decode("utf-8", "replace")).strip() or None
    return None


def _column(name: str, chunked: pa.ChunkedArray, notes: Notes) -> Column | None:
    kind = chunked.type
    if pa.types.is_dictionary(kind):
        chunked = pc.cast(chunked, kind.value_type)
        kind = kind.value_type
    if pa.types.is_timestamp(kind):
        return Column(_integers(pc.cast(chunked, pa.timestamp("ns", tz=kind.tz), safe=False).cast(pa.int64())), "ns")
    if pa.types.is_time(kind):
        return Column(_integers(pc.cast(chunked, pa.time64("ns")).cast(pa.int64())), "ns")
    if pa.types.is_integer(kind):
        return Column(_integers(chunked))
    if pa.types.is_floating(kind) or pa.types.is_boolean(kind) or pa.types.is_decimal(kind):
        return Column(np.asarray(pc.cast(chunked, pa.float64(), safe=False).to_numpy(), dtype=np.float64))
    if pa.types.is_null(kind):
        return Column(np.full(len(chunked), np.nan))
    if pa.types.is_string(kind) or pa.types.is_large_string(kind):
        return numbers_from_text(name, chunked.to_pylist(), notes)
    notes.add(f"column {name}", f"column of type {kind} is not numbers and was left out")
    return None


def _integers(chunked: pa.ChunkedArray) -> AnyArray:
    """Integers stay integers, masked where missing, because a float cannot hold nanoseconds since 1970."""
    if chunked.null_count == 0:
        return np.asarray(chunked.to_numpy())
    zero = pa.scalar(0, type=chunked.type)
    return np.ma.masked_array(pc.fill_null(chunked, zero).to_numpy(), mask=pc.is_null(chunked).to_numpy())
