"""The figures of one spin for the report: body rates against time, altitude against turns."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from math import isfinite
from typing import Any, Final

from spinfloor.archive.report_blocks import Level, LineFigure, Moment, Series, thinned

RATES: Final = (("roll_rate_dps", "roll p"), ("pitch_rate_dps", "pitch q"), ("yaw_rate_dps", "yaw r"))
FLOORS: Final = (("recovery_ft", "recovery floor"), ("chute_ft", "chute floor"), ("abandon_ft", "abandon floor"))
Record = Mapping[str, Any]


def spin_figures(
    row: Record, events: Sequence[Record], frames: Mapping[str, Sequence[Any]], floors: Record
) -> Iterator[LineFigure]:
    """Figures as far as there is something to draw: rates need frames, altitude against turns needs turn events."""
    start = int(row["start_ns"])
    if frames.get("time_ns"):
        yield _rates(row, frames, start)
    altitude = _altitude(row, events, floors)
    if altitude is not None:
        yield altitude


def _rates(row: Record, frames: Mapping[str, Sequence[Any]], start: int) -> LineFigure:
    series = []
    for column, name in RATES:
        pairs = [
            ((t - start) / 1e9, float(value))
            for t, value in zip(frames["time_ns"], frames.get(column, ()), strict=False)
            if value is not None and isfinite(value)
        ]
        if pairs:
            kept = thinned(pairs)
            series.append(Series(name, tuple(x for x, _ in kept), tuple(y for _, y in kept)))
    moments = tuple(
        Moment(words, (int(row[key]) - start) / 1e9)
        for key, words in (
            ("recovery_start_ns", "recovery controls"),
            ("end_ns", "rotation stopped"),
            ("level_ns", "level"),
        )
        if row.get(key) is not None
    )
    return LineFigure("Body rates", "seconds since the spin's start", "deg/s", tuple(series), moments=moments)


def _altitude(row: Record, events: Sequence[Record], floors: Record) -> LineFigure | None:
    last = row.get("end_ns")
    points = [(0.0, row.get("start_altitude_ft"))]
    for event in events:
        inside = event["time_ns"] > row["start_ns"] and (last is None or event["time_ns"] <= last)
        if inside and event["kind"] in ("spin.turn", "spin.ended"):
            points.append((event["data"].get("turns"), event["data"].get("altitude_ft")))
    pairs = sorted((float(n), float(h)) for n, h in points if n is not None and h is not None)
    if len(pairs) < 2:
        return None
    levels = tuple(
        Level(f"{words} {floors[key]:,.0f} ft", float(floors[key])) for key, words in FLOORS if floors.get(key)
    )
    held = row.get("recovery_start_turns")
    return LineFigure(
        "Altitude against turns",
        "turns about the flight path",
        "corrected altitude, ft",
        (Series("altitude at each turn", tuple(n for n, _ in pairs), tuple(h for _, h in pairs), points=True),),
        levels,
        (Moment("recovery controls", float(held)),) if held is not None else (),
    )
