"""MAVLink ground-station logs: before each packet its receive time, microseconds since 1970, eight bytes big-endian."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from spinfloor.adapters.mavlink.decoder import MavlinkDecoder, MavSample, dialect
from spinfloor.adapters.mavlink.packets import next_marker, packet_length
from spinfloor.adapters.mavlink.samples import units
from spinfloor.adapters.recordings.recording import Column, Notes, RecordingError, Source, Table
from spinfloor.core.plan.channel_map import ChannelMap

_STAMP = 8
_EARLIEST_USEC, _LATEST_USEC = 946_684_800_000_000, 7_258_118_400_000_000  # the years 2000 to 2200


def looks_like_log(head: bytes) -> bool:
    """A plausible receive time, a packet marker, and the same again where the first packet ends."""
    if len(head) < 2 * _STAMP + 12 or not _stamped(head, 0):
        return False
    length = packet_length(head, _STAMP)
    return bool(length) and _STAMP + (length or 0) + _STAMP < len(head) and _stamped(head, _STAMP + (length or 0))


def read_mavlink_log(path: Path, channel_map: ChannelMap | None = None) -> Source:
    """One table per message type of one vehicle. Raises RecordingError when no message is of a kind we read."""
    notes = Notes()
    decoder = MavlinkDecoder(
        channel_map.mavlink_system if channel_map else None, channel_map.mavlink_component if channel_map else None
    )
    samples = _samples(path.read_bytes(), decoder, notes)
    if not samples:
        raise RecordingError(
            expected="a MAVLink log with attitude, inertial, pressure or position messages",
            got=f"{path.name}, which has none that can be read",
            now="nothing was read",
            path=path.name,
        )
    _tell(decoder, notes)
    stated = units(dialect())
    tables = tuple(_table(kind, rows, stated) for kind, rows in _by_message(samples).items())
    facts: dict[str, str | int | float] = {"messages": decoder.counts.messages, "system": decoder.system or 0}
    return Source("mavlink log", tables, notes, facts)


def _stamped(data: bytes, at: int) -> bool:
    stamp = int.from_bytes(data[at : at + _STAMP], "big")
    return _EARLIEST_USEC < stamp < _LATEST_USEC and data[at + _STAMP] in (0xFD, 0xFE)


def _samples(data: bytes, decoder: MavlinkDecoder, notes: Notes) -> list[MavSample]:
    out: list[MavSample] = []
    at = 0
    while at + _STAMP < len(data):
        length = packet_length(data, at + _STAMP) if _stamped(data, at) else 0
        if length is None or (length and at + _STAMP + length > len(data)):
            notes.add(f"byte {at}", "the last packet is cut short by the end of the file; left out")
            break
        if not length:
            following = _resync(data, at + 1)
            notes.add(f"byte {at}", f"{following - at} bytes are no packet; passed over")
            at = following
            continue
        received_ns = int.from_bytes(data[at : at + _STAMP], "big") * 1000
        damaged = decoder.counts.damaged_bytes
        out += decoder.take(data[at + _STAMP : at + _STAMP + length], received_ns)
        if decoder.counts.damaged_bytes > damaged:
            notes.add(f"byte {at}", "packet with a wrong checksum; left out")
        at += _STAMP + length
    return out


def _resync(data: bytes, at: int) -> int:
    marker = next_marker(data, at + _STAMP)
    while marker < len(data):
        if _stamped(data, marker - _STAMP):
            return marker - _STAMP
        marker = next_marker(data, marker + 1)
    return len(data)


def _tell(decoder: MavlinkDecoder, notes: Notes) -> None:
    counts = decoder.counts
    if counts.lost:
        notes.add("sequence numbers", "message(s) lost before they were logged", counts.lost)
    if counts.foreign:
        notes.add("whole file", f"message(s) of other senders than system {decoder.system}; left out", counts.foreign)
    if counts.restarts:
        notes.add("whole file", "vehicle clock started again", counts.restarts)


def _by_message(samples: list[MavSample]) -> dict[str, list[MavSample]]:
    out: dict[str, list[MavSample]] = {}
    for sample in samples:
        out.setdefault(next(iter(sample.values)).split(".")[0], []).append(sample)
    return out


def _table(kind: str, rows: list[MavSample], stated: dict[str, str]) -> Table:
    names = list(dict.fromkeys(name for row in rows for name in row.values))
    columns = {
        name: Column(np.array([row.values.get(name, np.nan) for row in rows], dtype=np.float64), stated.get(name))
        for name in names
    }
    return Table(kind, columns, np.array([row.time_ns for row in rows], dtype=np.int64))
