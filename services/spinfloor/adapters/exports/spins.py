"""The table of spins, one row each, in every export format."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import orjson
import pyarrow as pa

from spinfloor.adapters.exports.formats import Format, encode_records, encode_table


def encode_spins(rows: Sequence[Mapping[str, object]], form: Format) -> bytes:
    """Rows in the order given; the columns are all keys met, in first-seen order; nested values go as JSON."""
    if form in (Format.JSON, Format.NDJSON):
        return encode_records(rows, form)
    names = list(dict.fromkeys(name for row in rows for name in row))
    arrays = [_column([row.get(name) for row in rows]) for name in names]
    return encode_table(pa.Table.from_arrays(arrays, names=names), form)


def _column(values: list[object]) -> pa.Array:
    flat = [orjson.dumps(v).decode() if isinstance(v, list | dict) else v for v in values]
    present = [v for v in flat if v is not None]
    if present and all(isinstance(v, bool) for v in present):
        return pa.array(flat, type=pa.bool_())
    if present and all(isinstance(v, int) and not isinstance(v, bool) for v in present):
        return pa.array(flat, type=pa.int64())
    if present and all(isinstance(v, int | float) and not isinstance(v, bool) for v in present):
        return pa.array([float(v) if isinstance(v, int | float) else None for v in flat], type=pa.float64())
    return pa.array([None if v is None else str(v) for v in flat], type=pa.string())
