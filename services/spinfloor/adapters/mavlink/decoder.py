"""Bytes to timed channel samples: damage stepped over, lost messages counted, one vehicle at a time.

Time: a vehicle counts milliseconds since it was switched on (the count wraps after 49.71 days). The first stamped
message ties that count to the receiver's clock; from then on the spacing is the vehicle's own. Messages without a
stamp take the time at which they were received.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from spinfloor.adapters.mavlink.packets import MARKERS, next_marker, packet_length
from spinfloor.adapters.mavlink.samples import MESSAGES, channels
from spinfloor.core.errors import SpinfloorError

_MS_NS = 1_000_000
_WRAP_MS = 1 << 32
_REBOOT_NS = 10_000_000_000
_UNIX_USEC = 1_000_000_000_000_000  # a count of microseconds above this (the year 2001) is a date, below it an uptime
_MOST_BUFFERED = 4096


class MavlinkMissingError(SpinfloorError):
    """The optional part that reads MAVLink is not installed."""

    code = "part-not-installed"


def dialect() -> Any:
    """pymavlink's common dialect (untyped)."""
    try:
        from pymavlink.dialects.v20 import common
    except ImportError as error:
        raise MavlinkMissingError(
            expected="the optional part `formats`, which reads MAVLink",
            got="an installation without it",
            now="nothing was read; install spinfloor[formats]",
        ) from error
    return common


@dataclass(frozen=True, slots=True)
class MavSample:
    """Channels that share a time: names as `MESSAGE.field`, values in the message's units."""

    time_ns: int
    values: dict[str, float]


@dataclass(slots=True)
class Counts:
    """What came and what did not."""

    messages: int = 0
    lost: int = 0
    damaged_bytes: int = 0
    foreign: int = 0
    restarts: int = 0


@dataclass(slots=True)
class _Clock:
    offset_ns: int
    last_raw_ns: int


class MavlinkDecoder:
    """Takes bytes in any pieces, gives samples of one vehicle: the one asked for, else the first to send a message."""

    def __init__(self, system: int | None = None, component: int | None = None) -> None:
        self.counts = Counts()
        self.system = system
        self.component = component
        self._parser = dialect().MAVLink(None)
        self._errors: tuple[type[Exception], ...] = (dialect().MAVError,)
        self._buffer = bytearray()
        self._sequence: int | None = None
        self._clocks: dict[str, _Clock] = {}

    def take(self, data: bytes, received_ns: int) -> list[MavSample]:
        """More bytes, received at `received_ns`; the samples they complete."""
        self._buffer += data
        samples: list[MavSample] = []
        at = 0
        while at < len(self._buffer):
            length = packet_length(self._buffer, at)
            if length is None or (length and at + length > len(self._buffer)):
                break
            message = self._decode(at, length) if length else None
            if message is None:
                following = next_marker(self._buffer, at + 1)
                self.counts.damaged_bytes += following - at
                at = following
                continue
            at += length
            sample = self._sample(message, received_ns)
            if sample is not None:
                samples.append(sample)
        del self._buffer[:at]
        if len(self._buffer) > _MOST_BUFFERED:  # longer than any packet: cannot happen, and must not grow
            self._buffer.clear()
        return samples

    def _decode(self, at: int, length: int) -> Any | None:
        try:
            message = self._parser.decode(self._buffer[at : at + length])
        except self._errors:
            return None
        # The checksum of a message the dialect does not know cannot be checked: what follows it must look right.
        end = at + length
        unknown = message.get_msgId() not in dialect().mavlink_map
        if unknown and end < len(self._buffer) and self._buffer[end] not in MARKERS:
            return None
        return message

    def _sample(self, message: Any, received_ns: int) -> MavSample | None:
        if self.system is None and message.get_type() in MESSAGES:
            self.system, self.component = message.get_srcSystem(), message.get_srcComponent()
        if message.get_srcSystem() != self.system or self.component not in (None, message.get_srcComponent()):
            self.counts.foreign += 1
            return None
        self._count(message.get_seq())
        if message.get_type() not in MESSAGES:
            return None
        values = channels(message)
        return MavSample(self._time(message, received_ns), values) if values else None

    def _count(self, sequence: int) -> None:
        self.counts.messages += 1
        if self._sequence is not None:
            self.counts.lost += (sequence - self._sequence - 1) % 256
        self._sequence = sequence

    def _time(self, message: Any, received_ns: int) -> int:
        if hasattr(message, "time_boot_ms"):
            return self._on_clock("uptime", message.time_boot_ms * _MS_NS, received_ns, _WRAP_MS * _MS_NS)
        if hasattr(message, "time_usec"):
            kind = "date" if message.time_usec > _UNIX_USEC else "uptime"
            return self._on_clock(kind, message.time_usec * 1000, received_ns, None)
        return received_ns

    def _on_clock(self, kind: str, raw_ns: int, received_ns: int, wrap_ns: int | None) -> int:
        clock = self._clocks.get(kind)
        if clock is None:
            clock = self._clocks[kind] = _Clock(received_ns - raw_ns, raw_ns)
        elif raw_ns < clock.last_raw_ns - _REBOOT_NS:
            if wrap_ns is not None and clock.last_raw_ns - raw_ns > wrap_ns // 2:
                clock.offset_ns += wrap_ns
            else:
                clock.offset_ns = received_ns - raw_ns
                self.counts.restarts += 1
        clock.last_raw_ns = raw_ns
        return clock.offset_ns + raw_ns
