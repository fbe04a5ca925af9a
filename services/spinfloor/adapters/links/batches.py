"""Batches under a source's own names to frames, by the plan's channel map: what recordings get, batch by batch.

Channels of a batch may have different rates: missing values as null in common rows, or a time vector for each rate.
What a slower channel last said is remembered from batch to batch, so that it is held up to its age limit and no longer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from spinfloor.adapters.recordings.contract import as_floats, listed
from spinfloor.adapters.recordings.holding import HOLD_PERIODS, UNKNOWN_RATE_HOLD_NS, stated_hold_ns
from spinfloor.adapters.recordings.map_time import TableTimes, table_times
from spinfloor.adapters.recordings.map_units import Converter, converter
from spinfloor.adapters.recordings.recording import Column, Notes, Table, find_channel
from spinfloor.core.alignment import hold_last, typical_period_ns
from spinfloor.core.channels import CHANNEL_COUNT, CHANNEL_INDEX
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import ColumnError, Float64Array, FrameBlock, Int64Array
from spinfloor.core.plan.channel_map import ChannelMap, MappedColumn, TimeSource
from spinfloor.ingest.batches import Batch, Wire, check_size, packed
from spinfloor.ingest.rows import RowProblem, check_rows

REMEMBERED: Final = 1024  # samples of each channel, for those slower than the batches
GAP_NS: Final = 1_000_000_000  # across a longer gap the even grid makes no frames
WHERE: Final = "the batch"


@dataclass(slots=True)
class _Samples:
    """One column's samples in SI, delays taken out; `new` of them came with this batch, at the end."""

    times_ns: Int64Array
    values: Float64Array
    new: int = 0

    def add(self, times_ns: Int64Array, values: Float64Array) -> _Samples:
        return _Samples(np.concatenate([self.times_ns, times_ns]), np.concatenate([self.values, values]), len(times_ns))

    def newest(self) -> _Samples:
        return _Samples(self.times_ns[-REMEMBERED:], self.values[-REMEMBERED:])


_NONE: Final = _Samples(np.empty(0, np.int64), np.empty(0))


class BatchMapper:
    """The map at work for one source of one sortie."""

    def __init__(self, channel_map: ChannelMap) -> None:
        self._map = channel_map
        self._converters: dict[str, Converter] = {
            name: converter(name, mapped, None, WHERE) for name, mapped in channel_map.columns.items()
        }
        self._kept: dict[str, _Samples] = {}
        self._last_sequence = -1
        self._grid_ns: int | None = None
        self._wraps: dict[TimeSource, tuple[int, int]] = {}  # clock: (what its wraps have added, its newest time)

    def take(self, wire: Wire) -> Batch:
        """Frames of a batch. One that was there before changes nothing that is remembered.

        Raises ColumnError when nothing in it is mapped or lengths differ, BatchError for packed bytes that are no numbers,
        RecordingError for a time without a unit.
        """
        table = _table(wire.columns)
        check_size(table.rows)
        remembered = dict(self._kept), self._grid_ns, dict(self._wraps)
        try:
            unusable = self._add(table)
            at = self._frame_times()
            check_size(len(at))
        except SpinfloorError:
            self._kept, self._grid_ns, self._wraps = remembered
            raise
        block, problems = check_rows(self._block(at))
        if wire.sequence > self._last_sequence:
            self._last_sequence = wire.sequence
            self._kept = {name: samples.newest() for name, samples in self._kept.items()}
        else:
            self._kept, self._grid_ns, self._wraps = remembered
        lost = tuple(
            RowProblem(len(block) + k, f"row {row} as sent has no usable time", kept=False)
            for k, row in enumerate(unusable)
        )
        return Batch(wire.source, wire.sequence, len(block) + len(lost), block, (*problems, *lost))

    def _add(self, table: Table) -> list[int]:
        """The batch's samples to what is remembered; returns the rows without a usable time."""
        self._kept = {name: _Samples(s.times_ns, s.values) for name, s in self._kept.items()}
        clocks: dict[TimeSource | None, tuple[Int64Array, npt.NDArray[np.bool_]]] = {}
        found = False
        for name, mapped in self._map.columns.items():
            there = find_channel((table,), mapped.source)
            if there is None:
                continue
            found, source = True, there[1]
            clock = mapped.time or self._map.time
            if clock not in clocks:
                times = table_times(table, clock, Notes(), WHERE)
                clocks[clock] = (self._unwrapped(clock, times), times.keep)
            time_ns, keep = clocks[clock]
            values = self._converters[name](as_floats(table.columns[source].values))
            _check_length(source, len(values), len(time_ns))
            stamps = time_ns[keep] - round(mapped.delay_s * 1e9)
            self._kept[name] = self._kept.get(name, _NONE).add(stamps, values[keep])
        if not found:
            raise _nothing_mapped(self._map, table)
        return sorted({int(row) for _, keep in clocks.values() for row in np.flatnonzero(~keep)})

    def _unwrapped(self, clock: TimeSource | None, times: TableTimes) -> Int64Array:
        """A clock that starts again goes on from batch to batch; rows without a usable time say nothing of it."""
        usable = times.time_ns[times.keep]
        if clock is None or clock.wraps_s is None or not len(usable):
            return times.time_ns
        period = round(clock.wraps_s * 1e9)
        added, newest = self._wraps.get(clock, (0, int(usable[0])))
        if int(usable[0]) + added < newest - period // 2:
            added += period
        self._wraps[clock] = (added, int(usable[-1]) + added)
        return times.time_ns + added

    def _frame_times(self) -> Int64Array:
        pace = self._kept.get(self._map.frames_at, _NONE)
        times, values = pace.times_ns[len(pace.times_ns) - pace.new :], pace.values[len(pace.values) - pace.new :]
        if self._map.rate_hz is not None:
            return self._on_grid(times[~np.isnan(values)], self._map.rate_hz)
        own = typical_period_ns(pace.times_ns[~np.isnan(pace.values)])
        sparse = own > 1.5 * typical_period_ns(pace.times_ns)
        return times[~np.isnan(values)] if sparse else times

    def _on_grid(self, times: Int64Array, rate_hz: float) -> Int64Array:
        """Whole periods since 1970, so that the grid is the same after a restart."""
        if not len(times):
            return np.empty(0, np.int64)
        period_ns = 1e9 / rate_hz
        first = int(np.ceil(int(times.min()) / period_ns)) * period_ns
        gap = self._grid_ns is None or first - self._grid_ns > GAP_NS
        start = first if gap or self._grid_ns is None else self._grid_ns + period_ns
        count = max(0, int((int(times.max()) - start) // period_ns) + 1)
        check_size(count)
        grid: Int64Array = np.rint(start + np.arange(count) * period_ns).astype(np.int64)
        if count:
            self._grid_ns = int(grid[-1])
        return grid

    def _block(self, at: Int64Array) -> FrameBlock:
        values = np.full((len(at), CHANNEL_COUNT), np.nan)
        for name, samples in self._kept.items():
            order = np.argsort(samples.times_ns, kind="stable")
            limit = _age_limit_ns(self._map.columns[name], samples, at)
            values[:, CHANNEL_INDEX[name]] = hold_last(samples.times_ns[order], samples.values[order], at, limit)
        return FrameBlock(np.ascontiguousarray(at), values)


def _age_limit_ns(mapped: MappedColumn, samples: _Samples, at: Int64Array) -> int:
    stated = stated_hold_ns(mapped)
    if stated is not None:
        return stated
    period = typical_period_ns(samples.times_ns[~np.isnan(samples.values)])
    new = samples.times_ns[len(samples.times_ns) - samples.new :]
    if period and np.array_equal(new, at) and period == typical_period_ns(samples.times_ns):
        return 0  # sampled in every frame: a missing sample is missing
    return round(HOLD_PERIODS * period) if period else UNKNOWN_RATE_HOLD_NS


def _table(columns: Mapping[str, Any]) -> Table:
    return Table(WHERE, {name: Column(_array(name, data)) for name, data in columns.items()})


def _array(name: str, data: Any) -> npt.NDArray[Any]:
    """Whole numbers stay whole, because a float cannot hold nanoseconds since 1970."""
    if isinstance(data, bytes):
        return packed(name, data)
    missing = [value is None for value in data] if isinstance(data, list) else []
    plain = [0 if value is None else value for value in data] if any(missing) else data
    try:
        array = np.asarray(plain)
        array = array if array.dtype.kind in "iuf" else np.asarray(plain, dtype=np.float64)
    except (ValueError, TypeError, OverflowError) as error:
        raise ColumnError(
            expected=f"{name} to hold numbers or null", got="values that are neither, or larger than any number here",
            now="nothing of this batch was taken", column=name,
        ) from error  # fmt: skip
    return np.ma.masked_array(array, mask=missing) if any(missing) else array


def _check_length(source: str, have: int, times: int) -> None:
    if have != times:
        raise ColumnError(
            expected=f"{source} to have {times} values like its time channel",
            got=f"{have}",
            now="nothing of this batch was taken",
            column=source,
        )


def _nothing_mapped(channel_map: ChannelMap, table: Table) -> ColumnError:
    sources = [mapped.source for mapped in channel_map.columns.values()]
    return ColumnError(
        expected="the contract's columns, or those of the plan's channel map: " + listed(sources),
        got="only " + listed(list(table.columns)),
        now="nothing of this batch was taken",
        unknown=sorted(table.columns)[:50],
    )
