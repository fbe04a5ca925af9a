"""What a recording holds, as a channel map to be completed by a person.

Names are matched to contract columns only where they are customary; units are copied from the file where it states
them and are left as a question otherwise. Nothing is guessed from values, although their ranges are shown.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from spinfloor.adapters.recordings.contract import as_floats
from spinfloor.adapters.recordings.dispatch import decode
from spinfloor.adapters.recordings.recording import Column, Source, Table
from spinfloor.core.alignment import typical_period_ns
from spinfloor.core.channels import CHANNEL_INDEX, CHANNELS, COLUMN_NAMES, TIME_COLUMN

UNIT_QUESTION = "???"
_OPEN = f"'{UNIT_QUESTION}'"

# Customary names of each quantity, letters and digits only, in small letters.
_NAMES: dict[str, tuple[str, ...]] = {
    "roll_rate_dps": ("p", "rollrate", "rollspeed", "pb", "bodyratep"),
    "pitch_rate_dps": ("q", "pitchrate", "pitchspeed", "qb", "bodyrateq"),
    "yaw_rate_dps": ("r", "yawrate", "yawspeed", "rb", "bodyrater"),
    "pressure_altitude_ft": ("hp", "pressurealtitude", "pressalt", "altp", "pressabs"),
    "roll_deg": ("phi", "roll", "bank", "bankangle"),
    "pitch_deg": ("theta", "pitch", "pitchattitude"),
    "heading_deg": ("psi", "heading", "yaw", "trueheading"),
    "alpha_deg": ("alpha", "aoa", "angleofattack"),
    "beta_deg": ("beta", "aos", "sideslip"),
    "calibrated_airspeed_kt": ("cas", "vc", "vcas", "calibratedairspeed"),
    "longitudinal_load_g": ("nx", "longitudinalload"),
    "lateral_load_g": ("ny", "lateralload"),
    "normal_load_g": ("nz", "normalload", "loadfactor"),
    "stick_aft_pct": ("stickaft", "pitchstick", "longitudinalstick"),
    "stick_right_pct": ("stickright", "rollstick", "lateralstick"),
    "pedal_right_pct": ("pedalright", "pedal", "rudderpedal"),
    "throttle_pct": ("throttle", "powerlever"),
    "radar_altitude_ft": ("radaraltitude", "radalt", "hra"),
    "event_marker": ("event", "eventmarker", "marker"),
}
_TIME_NAMES = ("time", "t", "timens", "times", "clock", "timestamp", "irigtime")


@dataclass(frozen=True, slots=True)
class Seen:
    """One channel of the file. period_ns is 0 when the table has no time of its own."""

    name: str
    unit: str | None
    samples: int
    period_ns: int
    smallest: float
    largest: float

    @property
    def line(self) -> str:
        """One line for a person."""
        rate = f"{1e9 / self.period_ns:g} Hz" if self.period_ns else "rate by its time channel"
        unit = self.unit or "unit not stated"
        if not self.samples:
            return f"{self.name}: {unit}, no samples"
        return f"{self.name}: {unit}, {self.samples} samples, {rate}, from {self.smallest:.6g} to {self.largest:.6g}"


def look(path: Path) -> tuple[Source, list[Seen]]:
    """Decode a file and describe each channel. Raises as `decode` does."""
    source = decode(path)
    several = len({n for t in source.tables for n in t.columns}) < sum(len(t.columns) for t in source.tables)
    return source, [s for table in source.tables for s in _table(table, prefixed=several)]


def _table(table: Table, *, prefixed: bool) -> Iterator[Seen]:
    period = typical_period_ns(table.time_ns) if table.time_ns is not None else 0
    for name, column in table.columns.items():
        yield _seen(f"{table.name}/{name}" if prefixed else name, column, period)


def _seen(name: str, column: Column, period_ns: int) -> Seen:
    values = as_floats(column.values)
    values = values[np.isfinite(values)]
    if not len(values):
        return Seen(name, column.unit, 0, period_ns, np.nan, np.nan)
    return Seen(name, column.unit, len(values), period_ns, float(values.min()), float(values.max()))


def suggest(path: Path) -> str:
    """A channel map in YAML with every unit that the file does not state left open."""
    source, seen = look(path)
    lines = [f"# {path.name}: {source.format}", "# Channels in the file:"]
    lines += [f"#   {s.line}" for s in seen] or ["#   none"]
    lines += [f"# Not read: {note.sentence}" for note in source.notes]
    if {s.name for s in seen} >= {TIME_COLUMN, *(c.column for c in CHANNELS if c.required)}:
        lines.append(
            "# The columns that are needed have the contract's names: without a map they are read in its units."
        )
    lines += [
        "# Columns were matched by name only. Check each one, its sign and its unit;",
        f"# replace {UNIT_QUESTION} by the unit: a unit is never guessed.",
        "channel_map:",
        *_time_lines(source, seen),
        "  columns:",
    ]
    matched = {column: _match(column, seen) for column in COLUMN_NAMES}
    for column, found in matched.items():
        channel = CHANNELS[CHANNEL_INDEX[column]]
        if found is None:
            mark = "    " if channel.required else "    # "
            lines.append(f"{mark}{column}: {{source: {_OPEN}, unit: {_OPEN}}}  # {channel.meaning}")
            continue
        unit = _quoted(found.unit or UNIT_QUESTION) if channel.unit else None
        tail = "" if unit is None else f", unit: {unit}"
        lines.append(f"    {column}: {{source: {_quoted(found.name)}{tail}}}  # {channel.meaning}")
    return "\n".join(lines) + "\n"


def _time_lines(source: Source, seen: list[Seen]) -> list[str]:
    if all(t.time_ns is not None for t in source.tables):
        return ["  # time comes with the format"]
    times = [s for s in seen if _plain(s.name) in _TIME_NAMES]
    if not times:
        return [f"  time: {{source: {_OPEN}, unit: {_OPEN}}}"]
    return [f"  time: {{source: {_quoted(times[0].name)}, unit: {_quoted(times[0].unit or UNIT_QUESTION)}}}"]


def _match(column: str, seen: list[Seen]) -> Seen | None:
    wanted = (_plain(column), *_NAMES[column])
    for name in wanted:
        for one in seen:
            if _plain(one.name) == name:
                return one
    return None


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", re.split(r"[/.]", name)[-1].lower())


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
