"""Time packets: the relative time counter to UTC nanoseconds, over year ends and with the years where there are any.

Time data format 1: a channel-specific word (bits 0-3 source, 4-7 format, 8 leap year, 9 date format) and then
binary-coded decimals, from the hundredths of a second up. The day format has no year (resolution 10 ms).
Source: the open-source C reference library's i106_decode_time.h; checked against the byte vectors in tests/.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinfloor.adapters.recordings.chapter10.header import NS_PER_TICK
from spinfloor.adapters.recordings.chapter10.walk import Packet
from spinfloor.adapters.recordings.recording import Notes
from spinfloor.core.frames import Int64Array

_SECOND_NS = 1_000_000_000
_DAY_NS = 86_400 * _SECOND_NS
_JUMP_NS = 100_000_000
_FORMAT_NONE = 15


@dataclass(frozen=True, slots=True)
class TimePoint:
    """One time packet: the counter and what it said. year is None for the day format; day counts from 1."""

    ticks: int
    year: int | None
    day: int
    of_day_ns: int


@dataclass(frozen=True, slots=True, eq=False)
class Clock:
    """UTC from the counter: offsets at the time packets, straight lines between them.

    ticks, offset_ns: int64, shape (n,); utc = ticks * 100 ns + offset. Empty: no time packet, times count from the
    counter's zero.
    """

    ticks: Int64Array
    offset_ns: Int64Array

    def utc_ns(self, ticks: Int64Array) -> Int64Array:
        """Nanoseconds UTC, shape as `ticks` (int64)."""
        if len(self.ticks) == 0:
            return ticks * NS_PER_TICK
        base = int(self.offset_ns[0])
        bent = np.interp(ticks.astype(np.float64), self.ticks.astype(np.float64), (self.offset_ns - base).astype(float))
        out: Int64Array = ticks * NS_PER_TICK + base + np.rint(bent).astype(np.int64)
        return out


def time_point(packet: Packet, notes: Notes) -> TimePoint | None:
    """What a time packet says, None (with a note) when its digits are no time."""
    word = int.from_bytes(packet.body[:4], "little")
    digits = packet.body[4:]
    if (word >> 4) & 0xF == _FORMAT_NONE:
        notes.add(f"byte {packet.at}", "time packet marked as having no valid time")
        return None
    month_format = bool(word >> 9 & 1)
    parsed = None if len(digits) < (8 if month_format else 6) else _digits(digits, month_format)
    if parsed is None:
        notes.add(f"byte {packet.at}", "time packet whose digits are no time; left out")
        return None
    year, day, of_day_ns = parsed
    return TimePoint(packet.ticks, year, day, of_day_ns)


def _digits(raw: bytes, month_format: bool) -> tuple[int | None, int, int] | None:
    nibbles = [n for byte in raw for n in (byte & 0xF, byte >> 4)]
    hundredths = nibbles[0] + 10 * nibbles[1]
    seconds = nibbles[2] + 10 * (nibbles[3] & 7)
    minutes = nibbles[4] + 10 * (nibbles[5] & 7)
    hours = nibbles[6] + 10 * (nibbles[7] & 3)
    if hundredths > 99 or seconds > 60 or minutes > 59 or hours > 23:
        return None
    of_day_ns = ((hours * 60 + minutes) * 60 + seconds) * _SECOND_NS + hundredths * 10_000_000
    if not month_format:
        day = nibbles[8] + 10 * nibbles[9] + 100 * (nibbles[10] & 3)
        return (None, day, of_day_ns) if 1 <= day <= 366 else None
    day_of_month = nibbles[8] + 10 * nibbles[9]
    month = nibbles[10] + 10 * (nibbles[11] & 1)
    year = nibbles[12] + 10 * nibbles[13] + 100 * nibbles[14] + 1000 * (nibbles[15] & 3)
    if not 1 <= month <= 12 or not 1 <= day_of_month <= 31 or not 1970 <= year <= 2261:
        return None
    first = np.datetime64(f"{year:04d}-01-01", "D")
    day = int((np.datetime64(f"{year:04d}-{month:02d}-01", "D") - first).astype(int)) + day_of_month
    return year, day, of_day_ns


def make_clock(points: list[TimePoint], year: int | None, notes: Notes) -> Clock:
    """The clock of a recording. year: of the first time packet, for the day format; None counts from 1970."""
    if not points:
        notes.add("whole file", "no time packet; times count from the recorder's counter")
        return Clock(np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64))
    if points[0].year is None and year is None:
        notes.add("time packets", "carry no year and the channel map gives none; counted from 1970")
    utc = _utc(points, year if year is not None else 1970)
    ticks = np.array([p.ticks for p in points], dtype=np.int64)
    offsets = np.array(utc, dtype=np.int64) - ticks * NS_PER_TICK
    order = np.argsort(ticks, kind="stable")
    ticks, offsets = ticks[order], offsets[order]
    jumps = np.flatnonzero(np.abs(np.diff(offsets)) > _JUMP_NS)
    for i in jumps[:20]:
        notes.add(f"time packet {int(i) + 1}", f"recorded time jumps by {(offsets[i + 1] - offsets[i]) / 1e9:+.2f} s")
    return Clock(ticks, offsets)


def _utc(points: list[TimePoint], year: int) -> list[int]:
    out: list[int] = []
    last_day = None
    for point in points:
        if point.year is not None:
            year = point.year
        elif last_day is not None and last_day - point.day > 300:
            year += 1  # 31 December to 1 January
        elif last_day is not None and point.day - last_day > 300:
            year -= 1  # a packet out of order just after the turn of the year
        last_day = point.day
        out.append(year_start_ns(year) + (point.day - 1) * _DAY_NS + point.of_day_ns)
    return out


def year_start_ns(year: int) -> int:
    """Nanoseconds from 1970 to the first instant of a year, UTC."""
    return int(np.datetime64(f"{year:04d}-01-01", "ns").astype(np.int64))
