"""Tables that already carry the contract's column names, to frames; and the sentences for those that do not."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from spinfloor.adapters.recordings.recording import AnyArray, Column, Notes, RecordingError, Source, Table
from spinfloor.adapters.recordings.unit_text import factor_between
from spinfloor.core.channels import (
    CHANNEL_INDEX,
    CHANNELS,
    COLUMN_NAMES,
    REQUIRED_COLUMNS,
    TIME_COLUMN,
    TIME_SECONDS_COLUMN,
)
from spinfloor.core.frames import FrameBlock

_TIME_UNITS = {TIME_COLUMN: "ns", TIME_SECONDS_COLUMN: "s"}
_UNITS = {**{c.column: c.unit for c in CHANNELS}, **_TIME_UNITS}
_STEMS = {re.sub(r"_[a-z]+$", "", name): name for name in COLUMN_NAMES if CHANNELS[CHANNEL_INDEX[name]].unit}


def frames_from_contract(source: Source, path_name: str) -> FrameBlock:
    """Frames of the one table that has the required columns.

    Raises RecordingError when the format gives each channel its own times, a required column is missing, there are two of
    time, a contract column comes under another unit, the file states a unit the contract does not have for that name, or
    there is no row.
    """
    _refuse_own_times(source, path_name)
    table = _best_table(source)
    _check_names(table, source.notes, path_name)
    _check_units(table, path_name)
    if table.rows == 0:
        raise RecordingError(
            expected="a recording with at least one row",
            got=f"{path_name}, which has column names and no rows",
            now="there is nothing to analyse",
            path=path_name,
        )
    known = {name: c for name, c in table.columns.items() if name in _UNITS}
    for name in sorted(set(table.columns) - set(known)):
        source.notes.add(f"column {name}", "column(s) the contract does not know; not read")
    return _block(known, source.notes, path_name)


def _refuse_own_times(source: Source, path_name: str) -> None:
    if all(table.time_ns is not None for table in source.tables):
        raise RecordingError(
            expected=f"a channel map in the plan, as every channel of the form {source.format} has times of its own",
            got=f"{path_name} and none (it has: {listed([n for t in source.tables for n in t.columns])})",
            now="nothing was read; `spinfloor map suggest` writes one to complete",
            path=path_name,
        )


def _best_table(source: Source) -> Table:
    return max(source.tables, key=lambda t: sum(name in t.columns for name in _UNITS))


def _check_names(table: Table, notes: Notes, path_name: str) -> None:
    wrong = {n: _STEMS[s] for n in table.columns if (s := re.sub(r"_[a-z]+$", "", n)) in _STEMS and _STEMS[s] != n}
    wrong = {n: right for n, right in wrong.items() if n not in COLUMN_NAMES and right not in table.columns}
    if wrong:
        pairs = ", ".join(f"{got} (the contract has {right})" for got, right in sorted(wrong.items()))
        raise RecordingError(
            expected="the contract's column names, each with its unit",
            got=f"{path_name} with {pairs}",
            now="nothing was read; rename with the unit converted, or say the unit in a channel map",
            path=path_name,
            columns=sorted(wrong),
        )
    refuse_two_times(table, path_name)
    missing = [n for n in REQUIRED_COLUMNS if n not in table.columns]
    if not any(t in table.columns for t in _TIME_UNITS):
        missing.insert(0, TIME_COLUMN)
    if missing:
        unread = [note.sentence for note in notes if note.where.removeprefix("column ") in missing]
        holds = listed(sorted(table.columns)) + "".join(f"; {sentence}" for sentence in unread)
        raise RecordingError(
            expected="the required columns time_ns (or time_s), " + ", ".join(REQUIRED_COLUMNS),
            got=f"{path_name} without {', '.join(missing)} (it has: {holds})",
            now="nothing was read; a channel map in the plan can name the source's own columns",
            path=path_name,
            missing=missing,
        )


def refuse_two_times(table: Table, path_name: str) -> None:
    """Raises RecordingError when time_ns and time_s are both there and nobody has said which one counts."""
    if all(t in table.columns for t in _TIME_UNITS):
        raise RecordingError(
            expected="either time_ns or time_s",
            got=f"{path_name} with both, which may disagree",
            now="nothing was read; leave one out, or name the one that counts under channel_map.time",
            path=path_name,
        )


def _check_units(table: Table, path_name: str) -> None:
    for name, column in table.columns.items():
        if name not in _UNITS or not column.unit:
            continue
        expected = _UNITS[name]
        factor = factor_between(column.unit, expected)
        if factor is None or abs(factor - 1.0) > 1e-9:
            raise RecordingError(
                expected=f"{name} in {expected or 'no unit'}, as its name says",
                got=f"{path_name}, which states the unit {column.unit!r} for it",
                now="nothing was read; name it as the source does and give the unit in a channel map",
                path=path_name,
                column=name,
            )


def _block(known: dict[str, Column], notes: Notes, path_name: str) -> FrameBlock:
    time_name = TIME_COLUMN if TIME_COLUMN in known else TIME_SECONDS_COLUMN
    time_ns, keep = times_to_ns(known.pop(time_name).values, 1 if time_name == TIME_COLUMN else 1_000_000_000)
    if not keep.all():
        notes.add(f"row {int(np.argmin(keep)) + 1}", "row(s) without a usable time; left out", int((~keep).sum()))
    if not keep.any():
        raise RecordingError(
            expected=f"{time_name} to hold times",
            got=f"{path_name}, where no row has one",
            now="nothing was read",
            path=path_name,
        )
    columns: dict[str, npt.ArrayLike] = {TIME_COLUMN: time_ns[keep]}
    for name, column in known.items():
        values = _finite(name, as_floats(column.values), notes)
        columns[name] = values[keep]
    return FrameBlock.from_columns(columns)


def _finite(name: str, values: npt.NDArray[np.float64], notes: Notes) -> npt.NDArray[np.float64]:
    infinite = np.isinf(values)
    if not infinite.any():
        return values
    notes.add(
        f"row {int(np.argmax(infinite)) + 1}", f"infinite value(s) of {name}; read as missing", int(infinite.sum())
    )
    return np.where(infinite, np.nan, values)


def listed(names: Sequence[str], most: int = 12) -> str:
    """Names for a sentence, the first few of many, each cut to a readable length."""
    shown = ", ".join(n[:40] for n in names[:most])
    return (shown or "no columns") + (f" and {len(names) - most} more" if len(names) > most else "")


def as_floats(values: AnyArray) -> npt.NDArray[np.float64]:
    """Numbers as float64, NaN where masked."""
    floats = np.ma.getdata(values).astype(np.float64)
    mask = np.ma.getmaskarray(values)
    return np.where(mask, np.nan, floats) if mask.any() else floats


def times_to_ns(values: AnyArray, ns_per_unit: int) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Times to whole nanoseconds and which of them are usable; integers stay exact.

    values: shape (n,), integers (may be masked) or floats, in units of `ns_per_unit` nanoseconds.
    """
    keep = np.logical_not(np.ma.getmaskarray(values))
    plain = np.ma.getdata(values)
    limit = (2**63 - 1) // ns_per_unit
    if plain.dtype.kind == "u":
        wide = plain.astype(np.uint64)
        keep &= wide <= np.uint64(limit)
        return np.where(keep, wide, np.uint64(0)).astype(np.int64) * ns_per_unit, keep
    if plain.dtype.kind == "i":
        signed = plain.astype(np.int64)
        keep &= (signed <= limit) & (signed >= -limit)
        return np.where(keep, signed, 0) * ns_per_unit, keep
    floats = plain.astype(np.float64)
    keep &= np.isfinite(floats) & (np.abs(floats) < float(limit) * (1 - 1e-12))
    return np.rint(np.where(keep, floats, 0.0) * ns_per_unit).astype(np.int64), keep
