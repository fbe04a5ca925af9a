"""A Chapter 10 file to tables: one per parameter, each with its own UTC times."""

from __future__ import annotations

import mmap
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from spinfloor.adapters.recordings.chapter10.analog import AnalogChannel
from spinfloor.adapters.recordings.chapter10.bus import BusChannel
from spinfloor.adapters.recordings.chapter10.clock import Clock, TimePoint, make_clock, time_point
from spinfloor.adapters.recordings.chapter10.header import (
    HEADER_BYTES,
    SYNC,
    TYPE_ANALOG,
    TYPE_BUS,
    TYPE_PCM,
    TYPE_SETUP,
    TYPE_TIME,
    parse_header,
)
from spinfloor.adapters.recordings.chapter10.pcm import PcmChannel
from spinfloor.adapters.recordings.chapter10.tmats import pcm_layouts
from spinfloor.adapters.recordings.chapter10.walk import Packet, walk
from spinfloor.adapters.recordings.recording import Column, Notes, RecordingError, Source, Table
from spinfloor.core.frames import Float64Array, Int64Array
from spinfloor.core.plan.channel_map import ChannelMap

_Series = tuple[str, str, Int64Array, Float64Array]


def looks_like_chapter10(head: bytes) -> bool:
    """True when a good packet header stands anywhere in the first bytes: the start may be damaged."""
    at = head.find(SYNC)
    while 0 <= at <= len(head) - HEADER_BYTES:
        if parse_header(head, at) is not None:
            return True
        at = head.find(SYNC, at + 1)
    return False


def read_chapter10(path: Path, channel_map: ChannelMap | None = None) -> Source:
    """Every parameter the channel map or the set-up record places. Raises RecordingError when no packet is good."""
    notes = Notes()
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        reading = _Reading(channel_map, notes)
        for packet in walk(data, notes):
            reading.take(packet)
    if reading.packets == 0:
        raise RecordingError(
            expected="an IRIG 106 Chapter 10 recording with at least one whole packet",
            got=f"{path.name}, in which no packet header with a good checksum and whole data was found",
            now="nothing could be read from it",
            path=path.name,
        )
    clock = make_clock(reading.times, channel_map.year if channel_map else None, notes)
    tables = tuple(_tables(reading, clock))
    facts: dict[str, str | int | float] = {"packets": reading.packets, "channels": reading.channels_text()}
    return Source("irig 106 chapter 10", tables, notes, facts)


class _Reading:
    """Sends each packet to its channel's decoder; decoders are made when their channel first appears."""

    def __init__(self, channel_map: ChannelMap | None, notes: Notes) -> None:
        self.packets = 0
        self.times: list[TimePoint] = []
        self.pcm: dict[int, PcmChannel] = {}
        self.analog: dict[int, AnalogChannel] = {}
        self.bus: dict[int, BusChannel] = {}
        self.units: dict[str, str | None] = {}
        self._map = channel_map
        self._notes = notes
        self._seen: dict[tuple[int, int], int] = {}
        self._layouts = {layout.channel: layout for layout in (channel_map.pcm if channel_map else ())}
        self._setup = b""
        self._takers: dict[int, Callable[[Packet], None]] = {
            TYPE_SETUP: self._take_setup,
            TYPE_TIME: self._take_time,
            TYPE_PCM: self._take_pcm,
            TYPE_ANALOG: self._take_analog,
            TYPE_BUS: self._take_bus,
        }

    def take(self, packet: Packet) -> None:
        """One good packet."""
        self.packets += 1
        key = (packet.header.channel, packet.header.data_type)
        self._seen[key] = self._seen.get(key, 0) + 1
        if len(packet.body) < 4:
            self._notes.add(f"byte {packet.at}", "packet without its channel-specific word; left out")
            return
        if self._setup and packet.header.data_type != TYPE_SETUP:
            self._use_setup()
        taker = self._takers.get(packet.header.data_type)
        if taker is not None:
            taker(packet)

    def channels_text(self) -> str:
        """What was in the file: channel, type and number of packets."""
        return ", ".join(f"{c} (type 0x{t:02x}): {n}" for (c, t), n in sorted(self._seen.items()))

    def _take_setup(self, packet: Packet) -> None:
        """A set-up record may run over several packets of channel 0; it is used when the first other packet comes."""
        self._setup += packet.body[4:]

    def _use_setup(self) -> None:
        for layout in pcm_layouts(self._setup.decode("latin-1"), self._notes):
            self._layouts.setdefault(layout.channel, layout)
        self._setup = b""

    def _take_time(self, packet: Packet) -> None:
        point = time_point(packet, self._notes)
        if point is not None:
            self.times.append(point)

    def _take_pcm(self, packet: Packet) -> None:
        channel = packet.header.channel
        layout = self._layouts.get(channel)
        if layout is None:
            self._notes.add(f"channel {channel}", "PCM whose frame layout neither the map nor the set-up record gives")
            return
        if channel not in self.pcm:
            self.pcm[channel] = PcmChannel(layout, self._notes)
            self.units |= {p.name: p.unit for p in layout.parameters}
        self.pcm[channel].take(packet)

    def _take_analog(self, packet: Packet) -> None:
        channel = packet.header.channel
        inputs = [i for i in (self._map.analog if self._map else ()) if i.channel == channel]
        if not inputs:
            self._notes.add(f"channel {channel}", "analog channel that the map says nothing of")
            return
        self.units |= {i.name: i.unit for i in inputs}
        self.analog.setdefault(channel, AnalogChannel(inputs, self._notes)).take(packet)

    def _take_bus(self, packet: Packet) -> None:
        channel = packet.header.channel
        messages = [m for m in (self._map.bus if self._map else ()) if m.channel == channel]
        if not messages:
            self._notes.add(f"channel {channel}", "bus channel that the map says nothing of")
            return
        self.units |= {p.name: p.unit for m in messages for p in m.parameters}
        self.bus.setdefault(channel, BusChannel(messages, self._notes)).take(packet)

    def series(self) -> Iterator[_Series]:
        """Every parameter: `channel N`, name, ticks, values."""
        for pcm in self.pcm.values():
            pcm.finish()
        decoders: list[tuple[int, PcmChannel | AnalogChannel]] = [*self.pcm.items(), *self.analog.items()]
        for channel, decoder in decoders:
            for name, s in decoder.samples.items():
                if s.ticks:
                    yield f"channel {channel}", name, np.concatenate(s.ticks), np.concatenate(s.values)
        for channel, bus in self.bus.items():
            for name, ticks in bus.ticks.items():
                if ticks:
                    yield f"channel {channel}", name, np.array(ticks, dtype=np.int64), np.array(bus.values[name])


def _tables(reading: _Reading, clock: Clock) -> Iterator[Table]:
    for folder, name, ticks, values in reading.series():
        yield Table(folder, {name: Column(values, reading.units.get(name))}, clock.utc_ns(ticks))
