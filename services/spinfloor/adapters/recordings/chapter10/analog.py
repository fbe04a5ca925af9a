"""Analog data format 1: interleaved sub-channels, packed or one sample per 16-bit word.

Each sub-channel has a channel-specific word: bits 0-1 mode (0 packed, 1 padded below, 3 padded above), 2-7 sample
length (0 means 64), 8-15 sub-channel, 16-23 count (0 means 256), 24-27 rate factor (one sample every 2^factor), 28 one
word for all. Sample rates are not in the packet: the channel map gives them.
Source: bit positions as probed against the C reference header; rate factors and padding from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from spinfloor.adapters.recordings.chapter10.bits import gather, swapped, to_number, unpack
from spinfloor.adapters.recordings.chapter10.header import RTC_HZ
from spinfloor.adapters.recordings.chapter10.pcm import Samples
from spinfloor.adapters.recordings.chapter10.walk import Packet
from spinfloor.adapters.recordings.recording import Notes
from spinfloor.core.frames import Int64Array
from spinfloor.core.plan.channel_map import AnalogInput
from spinfloor.core.plan.frame_layouts import Coding

_PACKED, _PADDED_BELOW, _PADDED_ABOVE = 0, 1, 3


@dataclass(frozen=True, slots=True)
class _Sub:
    mode: int
    bits: int
    number: int
    every: int


class AnalogChannel:
    """Takes a channel's packets; afterwards `samples` holds each mapped sub-channel's values by name."""

    def __init__(self, inputs: list[AnalogInput], notes: Notes) -> None:
        self.samples: dict[str, Samples] = {i.name: Samples() for i in inputs}
        self._inputs = inputs
        self._notes = notes

    def take(self, packet: Packet) -> None:
        """One packet of this channel."""
        subs, at = _subchannels(packet.body)
        if not subs or len({(s.mode, s.bits) for s in subs}) != 1 or subs[0].mode == 2:
            self._notes.add(f"byte {packet.at}", "analog packet with mixed or unknown packing; left out")
            return
        order, steps = _order(subs, packet.body[at:])
        raw = _samples(packet.body[at:], subs[0], len(order))
        for wanted in self._inputs:
            places = [k for k, s in enumerate(subs) if s.number == wanted.subchannel]
            if not places:
                self._notes.add(f"byte {packet.at}", f"no sub-channel {wanted.subchannel} for {wanted.name}")
                continue
            mine = order == places[0]
            fastest = wanted.samples_per_second * subs[places[0]].every
            coding = Coding.TWOS_COMPLEMENT if wanted.signed else Coding.UNSIGNED
            values = to_number(raw[mine], subs[0].bits, coding)
            into = self.samples[wanted.name]
            into.ticks.append(packet.ticks + np.rint(steps[mine] * (RTC_HZ / fastest)).astype(np.int64))
            into.values.append(wanted.scale * values + wanted.offset)


def _subchannels(body: bytes) -> tuple[list[_Sub], int]:
    first = int.from_bytes(body[:4], "little")
    count = (first >> 16 & 0xFF) or 256
    same = bool(first >> 28 & 1)
    words = [first] * count if same else [int.from_bytes(body[4 * k : 4 * k + 4], "little") for k in range(count)]
    at = 4 if same else 4 * count
    if at > len(body):
        return [], at
    numbered = range(count) if same else [w >> 8 & 0xFF for w in words]
    subs = [_Sub(w & 3, (w >> 2 & 0x3F) or 64, n, 1 << (w >> 24 & 0xF)) for w, n in zip(words, numbered, strict=True)]
    return subs, at


def _order(subs: list[_Sub], data: bytes) -> tuple[Int64Array, Int64Array]:
    """For each sample in the packet: which sub-channel, and at which step of the fastest rate."""
    each = subs[0].bits if subs[0].mode == _PACKED else -(-subs[0].bits // 16) * 16
    available = len(data) * 8 // each
    slowest = max(s.every for s in subs)
    cycle = [(k, n) for n in range(slowest) for k, s in enumerate(subs) if n % s.every == 0]
    times = -(-available // len(cycle))
    order = np.tile(np.array([k for k, _ in cycle], dtype=np.int64), times)[:available]
    steps = np.tile(np.array([n for _, n in cycle], dtype=np.int64), times)
    laps = np.repeat(np.arange(times, dtype=np.int64) * slowest, len(cycle))
    return order, (steps + laps)[:available]


def _samples(data: bytes, sub: _Sub, count: int) -> np.typing.NDArray[np.uint64]:
    stream = unpack(swapped(data + bytes(len(data) % 2), 2))
    container = sub.bits if sub.mode == _PACKED else -(-sub.bits // 16) * 16
    skip = container - sub.bits if sub.mode == _PADDED_ABOVE else 0
    starts = np.arange(count, dtype=np.int64) * container + skip
    return gather(stream, starts, np.arange(sub.bits, dtype=np.int64))
