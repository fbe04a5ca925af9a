"""The table of spins, one row each, in every export format."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import orjson
import pyarrow as pa

from spinfloor.adapters.exports.formats import Format, encode_records, encode_table

_TEXT, _WHOLE, _NUMBER, _YES_NO = pa.string(), pa.int64(), pa.float64(), pa.bool_()
# Every table has these, in this order and of these types, whatever has happened: those of many sorties can be joined.
COLUMNS: Final[dict[str, pa.DataType]] = {
    "sortie": _TEXT, "spin": _WHOLE, "card": _TEXT, "orientation": _TEXT, "direction": _TEXT, "sense_from_above": _TEXT,
    "mode": _TEXT, "oscillatory": _YES_NO, "start_ns": _WHOLE, "start_known_ns": _WHOLE, "start_altitude_ft": _NUMBER,
    "turns": _NUMBER, "turns_about_vertical": _NUMBER, "turns_sd": _NUMBER, "seconds_per_turn": _NUMBER,
    "loss_per_turn_ft": _NUMBER, "recovery_start_ns": _WHOLE, "recovery_start_turns": _NUMBER,
    "recovery_start_altitude_ft": _NUMBER, "recovery_source": _TEXT, "end_ns": _WHOLE, "end_altitude_ft": _NUMBER,
    "recovery_turns": _NUMBER, "spin_loss_ft": _NUMBER, "level_ns": _WHOLE, "level_altitude_ft": _NUMBER,
    "recovery_loss_ft": _NUMBER, "margin_ft": _NUMBER, "predicted_margin_ft": _NUMBER,
    "predicted_bound_margin_ft": _NUMBER, "surprise": _YES_NO, "highest_call": _TEXT, "calls": _WHOLE,
    "floors_crossed": _TEXT, "reversed": _YES_NO, "restarted": _YES_NO, "turned_inverted": _YES_NO,
    "estimated": _YES_NO, "evidence": _TEXT, "whole_turns": _WHOLE, "planned_turns": _NUMBER,
    "mean_seconds_per_turn": _NUMBER, "mean_loss_per_turn_ft": _NUMBER, "seconds_held": _NUMBER,
    "stop_loss_ft": _NUMBER, "loss_ft": _NUMBER, "surprises": _TEXT, "verdict": _TEXT,
}  # fmt: skip


def encode_spins(rows: Sequence[Mapping[str, object]], form: Format) -> bytes:
    """Rows in the order given. Nested values go as JSON; what is of another type than its column (an archive from
    elsewhere may hold anything) is missing."""
    if form in (Format.JSON, Format.NDJSON):
        return encode_records(rows, form)
    arrays = [pa.array([_as(kind, row.get(name)) for row in rows], type=kind) for name, kind in COLUMNS.items()]
    return encode_table(pa.Table.from_arrays(arrays, names=list(COLUMNS)), form)


def _as(kind: pa.DataType, value: object) -> object:
    if kind is _TEXT:
        return None if value is None else value if isinstance(value, str) else orjson.dumps(value).decode()
    if isinstance(value, bool) or kind is _YES_NO:
        return value if isinstance(value, bool) and kind is _YES_NO else None
    if kind is _WHOLE:
        return value if isinstance(value, int) and abs(value) < 2**63 else None
    return float(value) if isinstance(value, int | float) else None
