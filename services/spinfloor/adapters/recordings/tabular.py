"""Arrow tables to the recording's own tables: the part CSV, Parquet and Arrow share."""

from __future__ import annotations

import contextlib

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from spinfloor.adapters.recordings.recording import AnyArray, Column, Notes, Table

_UNIT_KEYS = (b"unit", b"units", b"Unit", b"Units")


def table_from_arrow(name: str, table: pa.Table, notes: Notes, units: dict[str, str] | None = None) -> Table:
    """Numeric columns as arrays; the unit comes from `units`, else from the field's metadata, else None.

    Columns of other types (nested, binary) are left out with a note.
    """
    columns: dict[str, Column] = {}
    for field_, chunked in zip(table.schema, table.columns, strict=True):
        values = _numbers(field_.name, chunked, notes)
        if values is None:
            continue
        unit = (units or {}).get(field_.name) or _unit_of(field_)
        columns[field_.name] = Column(values, unit)
    return Table(name, columns)


def _unit_of(field_: pa.Field) -> str | None:
    metadata = field_.metadata or {}
    for key in _UNIT_KEYS:
        if key in metadata:
            return str(metadata[key].decode("utf-8", "replace")).strip() or None
    return None


def _numbers(name: str, chunked: pa.ChunkedArray, notes: Notes) -> AnyArray | None:
    kind = chunked.type
    if pa.types.is_timestamp(kind):
        return _integers(name, pc.cast(chunked, pa.timestamp("ns", tz=kind.tz), safe=False).cast(pa.int64()))
    if pa.types.is_integer(kind) and chunked.null_count == 0:
        return np.asarray(chunked.to_numpy())
    if pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_boolean(kind):
        return _integers(name, chunked)
    if pa.types.is_decimal(kind):
        return np.asarray(pc.cast(chunked, pa.float64(), safe=False).to_numpy())
    if pa.types.is_null(kind):
        return np.full(len(chunked), np.nan)
    if pa.types.is_string(kind) or pa.types.is_large_string(kind) or pa.types.is_dictionary(kind):
        return _from_text(name, chunked, notes)
    notes.add(f"column {name}", f"column of type {kind} is not numbers and was left out")
    return None


def _integers(name: str, chunked: pa.ChunkedArray) -> AnyArray:
    """Integers stay integers only when none is missing, because a float cannot hold nanoseconds since 1970."""
    if pa.types.is_integer(chunked.type) and chunked.null_count == 0:
        return np.asarray(chunked.to_numpy())
    if pa.types.is_int64(chunked.type) and name.startswith("time"):
        return np.ma.masked_array(pc.fill_null(chunked, 0).to_numpy(), mask=pc.is_null(chunked).to_numpy())
    return np.asarray(pc.cast(chunked, pa.float64(), safe=False).to_numpy(), dtype=np.float64)


def _from_text(name: str, chunked: pa.ChunkedArray, notes: Notes) -> AnyArray | None:
    cells = chunked.to_pylist()
    if name.startswith("time") and all(c is None or c.strip().lstrip("+-").isdigit() for c in cells):
        with contextlib.suppress(pa.ArrowInvalid):  # too many digits for 64 bits: read as floats below
            return _integers(name, pc.cast(pc.utf8_trim_whitespace(chunked), pa.int64()))
    out = np.full(len(cells), np.nan)
    bad: list[int] = []
    for i, cell in enumerate(cells):
        try:
            out[i] = np.nan if cell is None or not cell.strip() else float(cell)
        except ValueError:
            bad.append(i)
    if len(bad) == len(cells):
        notes.add(f"column {name}", "column holds text, not numbers, and was left out")
        return None
    if bad:
        notes.add(
            f"column {name}, data row {bad[0] + 1}",
            f"cell(s) of {name} that are not numbers; read as missing",
            len(bad),
        )
    return out
