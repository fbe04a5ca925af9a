"""A channel map applied to a decoded file: names found, units converted once, rates aligned, delays taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinfloor.adapters.recordings.contract import as_floats, listed
from spinfloor.adapters.recordings.holding import HOLD_PERIODS, stated_hold_ns
from spinfloor.adapters.recordings.map_time import TableTimes, table_times
from spinfloor.adapters.recordings.map_units import converter
from spinfloor.adapters.recordings.recording import Notes, RecordingError, Source, Table, find_channel
from spinfloor.adapters.recordings.unit_text import bare_name
from spinfloor.core.alignment import even_grid, hold_in_order, hold_last, typical_period_ns
from spinfloor.core.channels import CHANNEL_COUNT, CHANNEL_INDEX, REQUIRED_COLUMNS
from spinfloor.core.frames import Float64Array, FrameBlock, Int64Array
from spinfloor.core.plan.channel_map import ChannelMap, MappedColumn, TimeSource


@dataclass(frozen=True, slots=True, eq=False)
class _Sampled:
    """One contract column in SI with its own sample times, delays already taken out."""

    table: Table
    times_ns: Int64Array
    values: Float64Array
    mapped: MappedColumn


def frames_from_map(source: Source, channel_map: ChannelMap, path_name: str) -> FrameBlock:
    """Frames at the samples of `frames_at` (or on an even grid), other columns held within their age limits.

    Raises RecordingError when a required source is absent, a unit is not stated anywhere, or units do not fit;
    an optional source that is absent becomes a note.
    """
    times: dict[tuple[int, TimeSource | None], TableTimes] = {}
    sampled: dict[str, _Sampled] = {}
    for name, mapped in channel_map.columns.items():
        found = find_channel(source.tables, mapped.source)
        if found is None:
            _absent(name, mapped, source, path_name, required=name in (*REQUIRED_COLUMNS, channel_map.frames_at))
            continue
        table, own_name = found
        column = table.columns[own_name]
        _tell_ambiguous(source, table, own_name, mapped.source)
        clock = mapped.time or channel_map.time
        if (id(table), clock) not in times:
            times[id(table), clock] = table_times(table, clock, source.notes, path_name)
        keep = times[id(table), clock].keep
        values = converter(name, mapped, column.unit, path_name)(as_floats(column.values))
        stamps = times[id(table), clock].time_ns - round(mapped.delay_s * 1e9)
        sampled[name] = _Sampled(table, stamps[keep], values[keep], mapped)
    return _align(sampled, channel_map, source.notes, path_name)


def _tell_ambiguous(source: Source, taken: Table, own_name: str, wanted: str) -> None:
    """A name alone that several tables have: the first is taken, and it is said how to ask for another."""
    having = [table.name for table in source.tables if own_name in table.columns]
    if len(having) > 1 and own_name.casefold() == wanted.casefold():
        source.notes.add(
            f"channel {own_name}",
            f"stands in {listed(having)}; that of {taken.name} was read (`table/name` asks for one)",
        )


def _absent(name: str, mapped: MappedColumn, source: Source, path_name: str, *, required: bool) -> None:
    seen = [n for t in source.tables for n in t.columns]
    if not required:
        like = [n for n in seen if bare_name(n).casefold() == mapped.source.casefold()]
        near = f" (it has {like[0]!r}, whose brackets hold no unit we know)" if like else ""
        source.notes.add(f"column {name}", f"the file has no channel {mapped.source!r}{near}; the column is empty")
        return
    raise RecordingError(
        expected=f"a channel {mapped.source!r}, which the channel map gives as the source of {name}",
        got=f"{path_name} without it (it has: {listed(seen)})",
        now="nothing was read",
        path=path_name,
        missing=[mapped.source],
    )


def _align(sampled: dict[str, _Sampled], channel_map: ChannelMap, notes: Notes, path_name: str) -> FrameBlock:
    pace = sampled[channel_map.frames_at]
    at = pace.times_ns[~np.isnan(pace.values)] if _is_sparse(pace) else pace.times_ns
    if channel_map.rate_hz is not None and len(at):
        at = even_grid(int(at.min()), int(at.max()), channel_map.rate_hz)
    if len(at) == 0:
        raise RecordingError(
            expected=f"samples of {channel_map.frames_at}, which make the frames",
            got=f"{path_name} without one",
            now="nothing was read",
            path=path_name,
        )
    values = np.full((len(at), CHANNEL_COUNT), np.nan)
    for name, one in sampled.items():
        values[:, CHANNEL_INDEX[name]] = _held(one, pace, at)
        if len(one.times_ns) and bool(np.isnan(values[:, CHANNEL_INDEX[name]]).all()):
            notes.add(f"column {name}", "no sample was young enough for any frame; the column is empty")
    return FrameBlock(np.ascontiguousarray(at), values)


def _is_sparse(pace: _Sampled) -> bool:
    """True when most rows of the pacing table exist only for faster channels: those rows make no frames."""
    own = typical_period_ns(pace.times_ns[~np.isnan(pace.values)])
    return own > 1.5 * typical_period_ns(pace.times_ns)


def _held(one: _Sampled, pace: _Sampled, at: Int64Array) -> Float64Array:
    limit = _age_limit_ns(one, at)
    if len(one.times_ns) == len(at) and bool((one.times_ns == at).all()):
        return hold_in_order(at, one.values, limit)
    order = np.argsort(one.times_ns, kind="stable")
    return hold_last(one.times_ns[order], one.values[order], at, limit)


def _age_limit_ns(one: _Sampled, at: Int64Array) -> int:
    stated = stated_hold_ns(one.mapped)
    if stated is not None:
        return stated
    period = typical_period_ns(one.times_ns[~np.isnan(one.values)])
    same_rows = len(one.times_ns) == len(at) and bool((one.times_ns == at).all())
    if same_rows and period == typical_period_ns(at):
        return 0  # sampled in every frame: a missing sample is missing
    return round(HOLD_PERIODS * period)
