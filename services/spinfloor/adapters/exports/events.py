"""Events in every export format.

JSON and NDJSON hold the contract's event objects as they are. CSV, Parquet and Arrow hold one row per event: the six
fixed columns, then the data fields people filter by under their own names (null where an event has none), then the
whole of `data` as JSON text. The columns are the same for every sortie, so files can be stacked.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import orjson
import pyarrow as pa

from spinfloor.adapters.exports.formats import Format, encode_records, encode_table

_FIXED: Final = (
    ("sortie", pa.string()),
    ("run", pa.string()),
    ("sequence", pa.int64()),
    ("kind", pa.string()),
    ("time_ns", pa.int64()),
    ("detected_ns", pa.int64()),
)
TEXT_FIELDS: Final = (
    "from",
    "to",
    "orientation",
    "direction",
    "sense_from_above",
    "mode",
    "source",
    "call",
    "words",
    "reason",
    "floor",
    "channel",
    "flag",
    "state",
    "mark",
    "by",
)
NUMBER_FIELDS: Final = (
    "turns",
    "turns_about_vertical",
    "recovery_turns",
    "altitude_ft",
    "loss_ft",
    "margin_ft",
    "predicted_margin_ft",
    "altitude_left_ft",
    "altitude_left_bound_ft",
    "seconds",
    "alpha_deg",
    "seconds_per_turn",
)
YES_NO_FIELDS: Final = ("oscillatory", "estimated")

SCHEMA: Final = pa.schema(
    [
        *(pa.field(n, t, nullable=False) for n, t in _FIXED),
        *(pa.field(n, pa.string()) for n in TEXT_FIELDS),
        *(pa.field(n, pa.float64()) for n in NUMBER_FIELDS),
        *(pa.field(n, pa.bool_()) for n in YES_NO_FIELDS),
        pa.field("data", pa.string(), nullable=False),
    ]
)


def encode_events(records: Sequence[Mapping[str, object]], form: Format) -> bytes:
    """Event records (`Event.as_record()`) in the format asked for."""
    if form in (Format.JSON, Format.NDJSON):
        return encode_records(records, form)
    return encode_table(events_table(records), form)


def events_table(records: Sequence[Mapping[str, object]]) -> pa.Table:
    """One row per event, columns as in SCHEMA."""
    data = [_data(r) for r in records]
    columns: list[list[object]] = [[r[name] for r in records] for name, _ in _FIXED]
    columns += [[_of(d.get(name), str) for d in data] for name in TEXT_FIELDS]
    columns += [[_number(d.get(name)) for d in data] for name in NUMBER_FIELDS]
    columns += [[_of(d.get(name), bool) for d in data] for name in YES_NO_FIELDS]
    columns.append([orjson.dumps(d, option=orjson.OPT_SERIALIZE_NUMPY).decode() for d in data])
    arrays = [pa.array(c, type=f.type) for c, f in zip(columns, SCHEMA, strict=True)]
    return pa.Table.from_arrays(arrays, schema=SCHEMA)


def _data(record: Mapping[str, object]) -> Mapping[str, object]:
    data = record.get("data")
    return data if isinstance(data, Mapping) else {}


def _of(value: object, kind: type) -> object:
    return value if isinstance(value, kind) else None


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None
