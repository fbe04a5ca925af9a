"""Lines of comma-separated values behind a line of labels, as general flight-dynamics libraries send them.

A line whose cells are mostly no numbers is a label line; it may come again at any time and then replaces the labels.
A first label in angle brackets is a marker and no channel. Units come from the channel map, or in brackets behind a
label; none is guessed. Bytes may be cut anywhere; a line longer than 64 kB is damage.
"""

from __future__ import annotations

import numpy as np

from spinfloor.adapters.links.columns import Converters
from spinfloor.adapters.links.counts import LinkCounts
from spinfloor.adapters.recordings.unit_text import factor_between, split_label
from spinfloor.core.channels import REQUIRED_COLUMNS
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap, parse_instant_ns
from spinfloor.ingest.rows import LATEST_NS

_LONGEST_LINE = 65_536
_DATED_NS = 946_684_800_000_000_000  # the year 2000: later times are dates, earlier ones count from some start


class LinkMapError(SpinfloorError):
    """The channel map does not fit what the link sends."""

    code = "link-map"


class LabelledValues:
    """Bytes to frames through a channel map with a time channel.

    Times that are dates are taken as they are. A time that counts from the source's own start is tied to the moment
    the first line was received, so that the age of data means something; after that the spacing is the source's.
    """

    def __init__(self, channel_map: ChannelMap, labels: str | None = None) -> None:
        if channel_map.time is None:
            raise LinkMapError(
                expected="a time channel under channel_map.time",
                got="a channel map without one",
                now="nothing is received",
            )
        self.counts = LinkCounts()
        self._map = channel_map
        self._time = channel_map.time
        self._converters = Converters(channel_map)
        self._buffer = b""
        self._places: dict[int, str] = {}
        self._time_place: int | None = None
        self._width = 0
        self._ns_per_unit = 0.0
        self._offset_ns: int | None = None if self._time.start is None else parse_instant_ns(self._time.start)
        if labels is not None:
            self._learn(labels.split(","))

    def take(self, data: bytes, received_ns: int, *, whole: bool = False) -> list[FrameBlock]:
        """More bytes; whole: they end a line (a datagram does)."""
        *lines, rest = (self._buffer + data).split(b"\n")
        if whole and rest:
            lines, rest = [*lines, rest], b""
        self._buffer = rest
        if len(rest) > _LONGEST_LINE:
            self.counts.damage("a line of more than 64 kB")
            self._buffer = b""
        blocks = [self._line(line, received_ns) for line in lines if line.strip()]
        return [b for b in blocks if b is not None]

    def cut(self) -> None:
        """The sender changed or went: an unfinished line is no use any more."""
        self._buffer = b""

    def _line(self, raw: bytes, received_ns: int) -> FrameBlock | None:
        self.counts.messages += 1
        cells = [c.strip() for c in raw.decode("latin-1").strip().split(",")]
        numbers = [_number(c) for c in cells]
        if sum(n is None for n in numbers) * 2 > len(cells):
            try:
                self._learn(cells)
            except SpinfloorError as error:  # a damaged line must not close a link; who listens is told
                self.counts.damage(error.sentence)
            return None
        if not self._width:
            self.counts.waiting += 1
            return None
        if len(cells) != self._width or self._time_place is None:
            self.counts.damage(f"a line of {len(cells)} values where the labels have {self._width}")
            return None
        time = numbers[self._time_place]
        if time is None or not np.isfinite(time):
            self.counts.damage("a line without a time")
            return None
        at_ns = self._stamp(time, received_ns)
        if at_ns is None:
            self.counts.damage("a line whose time is outside the years 1970 to 2200")
            return None
        samples = {name: value for i, name in self._places.items() if (value := numbers[i]) is not None}
        return self._converters.take(at_ns, samples, self.counts)

    def _stamp(self, time: float, received_ns: int) -> int | None:
        if abs(time * self._ns_per_unit) >= LATEST_NS:
            return None
        source_ns = round(time * self._ns_per_unit)
        if self._offset_ns is None:
            self._offset_ns = 0 if source_ns > _DATED_NS else received_ns - source_ns
        at_ns = source_ns + self._offset_ns
        return at_ns if 0 <= at_ns < LATEST_NS else None

    def _learn(self, cells: list[str]) -> None:
        labels = [c.strip() for c in cells]
        if labels and labels[0].startswith("<") and labels[0].endswith(">"):
            labels = labels[1:]
        stated: dict[str, str] = {}
        names: list[str] = []
        for label in labels:
            name, unit = split_label(label)
            names.append(name)
            if unit:
                stated[name] = unit
        time_place = _place(names, self._time.source)
        places = {c: _place(names, m.source) for c, m in self._map.columns.items()}
        needed = (*REQUIRED_COLUMNS, self._map.frames_at)
        absent = sorted({self._map.columns[c].source for c, i in places.items() if i is None and c in needed})
        if time_place is None or absent:
            raise LinkMapError(
                expected="labels that hold the time channel and the source of every required column",
                got=f"no {', '.join(absent or [self._time.source])} among {', '.join(n[:40] for n in names[:20])}",
                now="these labels are not used; correct the channel map",
            )
        self._ns_per_unit = self._unit_of_time(stated.get(names[time_place]))
        found = {self._map.columns[c].source: i for c, i in places.items() if i is not None}
        self._converters.prepare({source: stated.get(names[i]) for source, i in found.items()})
        self._width, self._time_place = len(names), time_place
        self._places = {i: source for source, i in found.items()}

    def _unit_of_time(self, stated: str | None) -> float:
        unit = self._time.unit or stated
        factor = None if unit is None else factor_between(unit, "ns")
        if factor is None:
            raise LinkMapError(
                expected="the unit of the time channel under channel_map.time.unit",
                got=f"{unit!r}" if unit else "none, here or in the labels",
                now="nothing is received",
            )
        return factor


def _place(names: list[str], wanted: str) -> int | None:
    """As written, else whatever the capitals: p may be a rate beside a pressure P."""
    for fold in (str, str.casefold):
        folded = [fold(n) for n in names]
        if fold(wanted) in folded:
            return folded.index(fold(wanted))
    return None


def _number(cell: str) -> float | None:
    if not cell:
        return float("nan")
    try:
        return float(cell)
    except ValueError:
        return None
