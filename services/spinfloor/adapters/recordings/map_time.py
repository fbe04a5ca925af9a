"""Time of a decoded table by the channel map: which column, which unit, where it starts, where it wraps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spinfloor.adapters.recordings.contract import listed, refuse_two_times, times_to_ns
from spinfloor.adapters.recordings.recording import Notes, RecordingError, Table, find_channel
from spinfloor.adapters.recordings.unit_text import factor_between
from spinfloor.core.channels import TIME_COLUMN, TIME_SECONDS_COLUMN
from spinfloor.core.frames import Int64Array
from spinfloor.core.plan.channel_map import TimeSource, parse_instant_ns


@dataclass(frozen=True, slots=True, eq=False)
class TableTimes:
    """time_ns: int64, shape (n,). keep: shape (n,), False where the row has no usable time."""

    time_ns: Int64Array
    keep: npt.NDArray[np.bool_]


def table_times(table: Table, source: TimeSource | None, notes: Notes, path_name: str) -> TableTimes:
    """Times of every row. Raises RecordingError when the table has no time the map or the contract names, or two of these."""
    if table.time_ns is not None and source is None:
        return TableTimes(table.time_ns, np.ones(len(table.time_ns), dtype=np.bool_))
    source = source or _contract_time(table, path_name)
    found = None if source is None else find_channel((table,), source.source)
    if source is None or found is None:
        return _no_time(table, source, path_name)
    column = table.columns[found[1]]
    time_ns, keep = times_to_ns(column.values, _ns_per_unit(source, column.unit, path_name))
    if not keep.all():
        notes.add(
            f"{table.name}, row {int(np.argmin(keep)) + 1}",
            "row(s) without a usable time; left out",
            int((~keep).sum()),
        )
    if source.wraps_s is not None:
        time_ns[keep] = unwrap_ns(time_ns[keep], round(source.wraps_s * 1e9))
    if source.start is not None:
        time_ns = time_ns + parse_instant_ns(source.start)
    return TableTimes(time_ns, keep)


def unwrap_ns(time_ns: Int64Array, period_ns: int) -> Int64Array:
    """A clock that starts again every `period_ns` made continuous: a step back by more than half of it is a wrap."""
    steps = np.diff(time_ns)
    wraps = np.cumsum((steps < -period_ns // 2).astype(np.int64) - (steps > period_ns // 2).astype(np.int64))
    return time_ns + np.concatenate(([0], wraps)).astype(np.int64) * period_ns


def _contract_time(table: Table, path_name: str) -> TimeSource | None:
    refuse_two_times(table, path_name)
    if TIME_COLUMN in table.columns:
        return TimeSource(source=TIME_COLUMN, unit="ns")
    if TIME_SECONDS_COLUMN in table.columns:
        return TimeSource(source=TIME_SECONDS_COLUMN, unit="s")
    return None


def _no_time(table: Table, source: TimeSource | None, path_name: str) -> TableTimes:
    if source is not None and table.rows == 0:
        return TableTimes(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.bool_))
    raise RecordingError(
        expected=f"a time channel {source.source!r}"
        if source
        else "time_ns, time_s or a time channel in the channel map",
        got=f"{path_name}, whose table {table.name!r} has {listed(list(table.columns))}",
        now="nothing was read; name the time channel under channel_map.time",
        path=path_name,
    )


def _ns_per_unit(source: TimeSource, stated: str | None, path_name: str) -> int:
    unit = source.unit or stated
    factor = None if unit is None else factor_between(unit, "ns")
    if factor is None or factor < 0.999:
        raise RecordingError(
            expected="the unit of the time channel (ns, us, ms, s, min, h), stated in the file or the channel map",
            got=f"{path_name}, where {source.source!r} has {'no unit' if unit is None else f'the unit {unit!r}'}",
            now="nothing was read; give it under channel_map.time.unit",
            path=path_name,
        )
    return round(factor)
