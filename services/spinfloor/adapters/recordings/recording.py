"""What a recording becomes: first the source's own tables, then frames, each with a list of what could not be had."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from spinfloor.adapters.recordings.unit_text import split_label
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock, Int64Array

AnyArray = npt.NDArray[np.generic]


class RecordingError(SpinfloorError):
    """A recording from which nothing can be had, or whose columns cannot be understood."""

    code = "bad-recording"
    http_status = 422


class RecordingMissingError(SpinfloorError):
    """The recording named does not exist or cannot be opened."""

    code = "no-such-recording"
    http_status = 404


@dataclass(frozen=True, slots=True)
class Note:
    """Something that could not be had, and where: byte, line, row group, packet, channel."""

    where: str
    what: str
    count: int = 1

    @property
    def sentence(self) -> str:
        """One line for a person."""
        times = f" ({self.count} times)" if self.count > 1 else ""
        return f"{self.where}: {self.what}{times}"

    def as_record(self) -> dict[str, str | int]:
        """Plain fields for JSON."""
        return {"where": self.where, "what": self.what, "count": self.count}


@dataclass(slots=True)
class Notes:
    """Collects notes, merging repeats of the same trouble so that a badly damaged file stays readable.

    The first place is kept and the rest are counted; at most `limit` different troubles are kept.
    """

    limit: int = 200
    _seen: dict[str, tuple[str, int]] = field(default_factory=dict)
    _left_out: int = 0

    def add(self, where: str, what: str, count: int = 1) -> None:
        """Note one trouble."""
        if what in self._seen:
            first, n = self._seen[what]
            self._seen[what] = (first, n + count)
        elif len(self._seen) < self.limit:
            self._seen[what] = (where, count)
        else:
            self._left_out += count

    def clear(self) -> None:
        """Forget everything noted so far, before another attempt at the same file."""
        self._seen.clear()
        self._left_out = 0

    def __iter__(self) -> Iterator[Note]:
        for what, (where, n) in self._seen.items():
            yield Note(where if n == 1 else f"first at {where}", what, n)
        if self._left_out:
            yield Note("whole file", "more troubles than are listed here", self._left_out)

    def as_tuple(self) -> tuple[Note, ...]:
        """All notes, frozen."""
        return tuple(self)


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One channel under the source's own name.

    values: shape (n,); float64, or integers where the source has integers. unit: as the file states it, None when
    the file says nothing (a unit is never guessed).
    """

    values: AnyArray
    unit: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Channels sampled together.

    time_ns: int64, shape (n,), when the format itself carries absolute time; None when time is one of the columns.
    """

    name: str
    columns: Mapping[str, Column]
    time_ns: Int64Array | None = None

    @property
    def rows(self) -> int:
        """Number of samples."""
        if self.time_ns is not None:
            return len(self.time_ns)
        return max((len(c.values) for c in self.columns.values()), default=0)


def find_channel(tables: Iterable[Table], wanted: str) -> tuple[Table, str] | None:
    """The first table that has a channel, and its name there; wanted: `name` or `table/name`, as written first, then
    whatever the capitals, then with its unit in brackets as the head of a file may write it (`Alt [m]`)."""
    tables = tuple(tables)
    for fold in (str, str.casefold):
        for table in tables:
            for name in table.columns:
                if fold(wanted) in (fold(name), fold(f"{table.name}/{name}")):
                    return table, name
    return _find_labelled(tables, wanted)


def _find_labelled(tables: Iterable[Table], wanted: str) -> tuple[Table, str] | None:
    """By a label such as `Alt [m]`, which readers part into name and unit; `Alt (2)` is the second `Alt` of a file."""
    bare, unit = split_label(wanted)
    if not unit:
        return None
    for table in tables:
        for name, column in table.columns.items():
            own = re.sub(r" \(\d+\)$", "", name)
            if column.unit == unit and bare.casefold() in (own.casefold(), f"{table.name}/{own}".casefold()):
                return table, name
    return None


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A file decoded into its own tables, before any channel map."""

    format: str
    tables: tuple[Table, ...]
    notes: Notes
    facts: Mapping[str, str | int | float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """Frames ready for the detector.

    block: frames in file order (time running backwards is left for the detector to flag).
    notes: what could not be had and where. source: facts of the file (name, format, rows, bytes, ...).
    """

    block: FrameBlock
    notes: tuple[Note, ...]
    source: Mapping[str, str | int | float]
