"""A block of frames as the core takes it: time stamps and SI values, checked once at the door."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from spinfloor.core.channels import (
    CHANNEL_COUNT,
    CHANNEL_INDEX,
    CHANNELS,
    COLUMN_NAMES,
    REQUIRED_COLUMNS,
    TIME_COLUMN,
    TIME_SECONDS_COLUMN,
)
from spinfloor.core.errors import SpinfloorError

Int64Array = npt.NDArray[np.int64]
Float64Array = npt.NDArray[np.float64]


class ColumnError(SpinfloorError):
    """The columns offered are not the contract's columns."""

    code = "bad-columns"
    http_status = 422


@dataclass(frozen=True, slots=True, eq=False)
class FrameBlock:
    """Frames in the order they arrived.

    time_ns: int64, shape (n,), nanoseconds UTC from the source.
    values: float64, shape (n, CHANNEL_COUNT), SI and radians, NaN where missing.
    Both are C-contiguous and may be written to (others are copied), because the kernel is compiled for such arrays: others
    would have it compiled again, for many seconds in which every sortie stands still.
    """

    time_ns: Int64Array
    values: Float64Array

    def __post_init__(self) -> None:
        if self.time_ns.dtype != np.int64 or self.time_ns.ndim != 1:
            raise ValueError("time_ns must be a one-dimensional int64 array")
        if self.values.dtype != np.float64 or self.values.shape != (len(self.time_ns), CHANNEL_COUNT):
            raise ValueError(f"values must be float64 with shape ({len(self.time_ns)}, {CHANNEL_COUNT})")
        if not (self.time_ns.flags.carray and self.values.flags.carray):
            object.__setattr__(self, "time_ns", np.require(self.time_ns, requirements=("C", "A", "W")))
            object.__setattr__(self, "values", np.require(self.values, requirements=("C", "A", "W")))

    def __len__(self) -> int:
        return len(self.time_ns)

    def slice(self, start: int, stop: int) -> FrameBlock:
        """Frames start (included) to stop (excluded), without copying."""
        return FrameBlock(self.time_ns[start:stop], self.values[start:stop])

    @staticmethod
    def joined(blocks: Sequence[FrameBlock]) -> FrameBlock:
        """Blocks behind one another; of one the same, without copying."""
        if len(blocks) == 1:
            return blocks[0]
        if not blocks:
            return FrameBlock(np.empty(0, np.int64), np.empty((0, CHANNEL_COUNT)))
        return FrameBlock(np.concatenate([b.time_ns for b in blocks]), np.concatenate([b.values for b in blocks]))

    @staticmethod
    def from_columns(columns: Mapping[str, npt.ArrayLike]) -> FrameBlock:
        """Contract columns (edge units) to a block.

        Raises ColumnError when a required column is missing, a column is unknown, there are two of time, or lengths differ.
        """
        _check_names(columns)
        time_ns = _time_from(columns)
        n = len(time_ns)
        values = np.full((n, CHANNEL_COUNT), np.nan)
        for name, data in columns.items():
            if name in (TIME_COLUMN, TIME_SECONDS_COLUMN):
                continue
            column = _as_floats(name, data)
            if len(column) != n:
                raise ColumnError(
                    expected=f"every column to have {n} values like the time column",
                    got=f"{len(column)} values in {name}",
                    now="nothing of this batch was taken",
                    column=name,
                )
            channel = CHANNELS[CHANNEL_INDEX[name]]
            with np.errstate(over="ignore"):  # beyond any float: infinite, and so no value
                values[:, CHANNEL_INDEX[name]] = column * channel.si_per_unit
        return FrameBlock(time_ns, values)

    def to_columns(self, *, drop_empty: bool = True) -> dict[str, Int64Array | Float64Array]:
        """Back to contract columns in edge units; columns with no value at all are left out by default."""
        out: dict[str, Int64Array | Float64Array] = {TIME_COLUMN: self.time_ns}
        for i, channel in enumerate(CHANNELS):
            column = self.values[:, i]
            if drop_empty and not channel.required and bool(np.isnan(column).all()):
                continue
            out[channel.column] = column / channel.si_per_unit
        return out


def _check_names(columns: Mapping[str, npt.ArrayLike]) -> None:
    known = {*COLUMN_NAMES, TIME_COLUMN, TIME_SECONDS_COLUMN}
    unknown = sorted(set(columns) - known)
    if unknown:
        raise ColumnError(
            expected="only the contract's column names (a channel map in the plan renames a source's own)",
            got="the unknown column(s) " + ", ".join(unknown),
            now="nothing of this batch was taken",
            unknown=unknown,
            known=sorted(known),
        )
    if TIME_COLUMN in columns and TIME_SECONDS_COLUMN in columns:
        raise ColumnError(
            expected="either time_ns or time_s",
            got="both, which may disagree",
            now="nothing of this batch was taken; leave one out",
            column=TIME_SECONDS_COLUMN,
        )
    missing = [name for name in REQUIRED_COLUMNS if name not in columns]
    if TIME_COLUMN not in columns and TIME_SECONDS_COLUMN not in columns:
        missing.insert(0, TIME_COLUMN)
    if missing:
        raise ColumnError(
            expected="the required columns " + ", ".join((TIME_COLUMN, *REQUIRED_COLUMNS)),
            got="no column " + ", ".join(missing),
            now="nothing of this batch was taken",
            missing=missing,
        )


def _time_from(columns: Mapping[str, npt.ArrayLike]) -> Int64Array:
    if TIME_COLUMN in columns:
        raw = np.asarray(columns[TIME_COLUMN])
        if raw.dtype.kind in "iu" and raw.ndim == 1:
            return np.ascontiguousarray(raw, dtype=np.int64)
        raise ColumnError(
            expected="time_ns to be whole nanoseconds (integers)",
            got=f"values of type {raw.dtype}",
            now="nothing of this batch was taken",
            column=TIME_COLUMN,
        )
    seconds = _as_floats(TIME_SECONDS_COLUMN, columns[TIME_SECONDS_COLUMN])
    if not bool(np.isfinite(seconds).all()) or (len(seconds) and float(np.abs(seconds).max()) > 9e9):
        raise ColumnError(
            expected="time_s to be finite seconds since the recording's start",
            got="missing, infinite or enormous values",
            now="nothing of this batch was taken",
            column=TIME_SECONDS_COLUMN,
        )
    return np.rint(seconds * 1e9).astype(np.int64)


def _as_floats(name: str, data: npt.ArrayLike) -> Float64Array:
    try:
        column = np.asarray(data, dtype=np.float64)
    except (TypeError, ValueError) as exc:
        raise ColumnError(
            expected=f"{name} to hold numbers or null",
            got="values that are neither",
            now="nothing of this batch was taken",
            column=name,
        ) from exc
    if column.ndim != 1:
        raise ColumnError(
            expected=f"{name} to be a flat list of numbers",
            got=f"an array of {column.ndim} dimensions",
            now="nothing of this batch was taken",
            column=name,
        )
    return column
