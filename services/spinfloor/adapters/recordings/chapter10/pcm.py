"""PCM data format 1: minor frames found, in any alignment and packing, and their parameters taken out.

The channel-specific word: bit 18 unpacked, 19 packed, 20 throughput, 21 alignment (1: 32 bits), 30 intra-packet
headers. With intra-packet headers (10 bytes, 12 at 32-bit alignment) each minor frame has its own time; in throughput
mode the bits run on from packet to packet and time follows from the bit rate. Frame geometry is not in the packet: it
comes from the channel map or the set-up record.
Source: the open-source C reference library's i106_decode_pcmf1.h. Words are stored little-endian by the standard; some
recorders store them as sent, so both are tried and the one in which the sync pattern recurs is kept.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from spinfloor.adapters.recordings.chapter10 import sync
from spinfloor.adapters.recordings.chapter10.bits import Bits, gather, swapped, to_number, unpack
from spinfloor.adapters.recordings.chapter10.header import FLAG_STAMP_IS_SECONDARY, RTC_HZ
from spinfloor.adapters.recordings.chapter10.walk import Packet, Unwrapper
from spinfloor.adapters.recordings.recording import Notes
from spinfloor.core.frames import Float64Array, Int64Array
from spinfloor.core.plan.frame_layouts import PcmLayout, PcmParameter

_MOST_RUN_BYTES = 4_000_000
_UNPACKED, _PACKED, _THROUGHPUT, _WIDE, _STAMPED = 18, 19, 20, 21, 30


@dataclass(slots=True)
class Samples:
    """What one parameter gave so far: counter ticks and engineering values, in pieces."""

    ticks: list[Int64Array] = field(default_factory=list)
    values: list[Float64Array] = field(default_factory=list)


class PcmChannel:
    """Takes a channel's packets in order; afterwards `samples` holds every parameter's values by name."""

    def __init__(self, layout: PcmLayout, notes: Notes) -> None:
        self.samples: dict[str, Samples] = {p.name: Samples() for p in layout.parameters}
        self._layout = layout
        self._notes = notes
        self._pattern = sync.pattern_bits(layout)
        self._container: int | None = None
        self._run: list[tuple[int, bytes]] = []  # throughput packets that follow on: ticks and bytes as sent
        self._run_bytes = 0

    def take(self, packet: Packet) -> None:
        """One packet of this channel."""
        word = int.from_bytes(packet.body[:4], "little")
        data = packet.body[4:]
        if self._container is None:
            self._container = sync.storage_order(data, self._pattern, self._layout)
        if word >> _UNPACKED & 1 and self._layout.word_bits != 16:
            self._notes.add(f"byte {packet.at}", f"unpacked PCM of {self._layout.word_bits}-bit words is not read")
            return
        if word >> _STAMPED & 1 and not word >> _THROUGHPUT & 1:
            self._stamped(packet, data, wide=bool(word >> _WIDE & 1))
            return
        if self._run and (not packet.follows or self._run_bytes > _MOST_RUN_BYTES):
            self._search(keep_tail=packet.follows)
        self._run.append((packet.ticks, swapped(data, self._container or 1)))
        self._run_bytes += len(data)

    def finish(self) -> None:
        """No more packets."""
        if self._run:
            self._search(keep_tail=False)

    def _stamped(self, packet: Packet, data: bytes, *, wide: bool) -> None:
        if packet.header.flags & FLAG_STAMP_IS_SECONDARY:
            self._notes.add(f"byte {packet.at}", "PCM stamped by secondary time, not the counter; packet left out")
            return
        head = 12 if wide else 10
        unit = 32 if wide else 16
        size = -(-self._layout.minor_frame_bits // unit) * unit // 8
        pieces, stamps = [], []
        for at in range(0, len(data) - head - size + 1, head + size):
            rtc = int.from_bytes(data[at : at + 6], "little")
            stamps.append(Unwrapper().near(rtc, packet.ticks))
            pieces.append(swapped(data[at + head : at + head + size], self._container or 1))
        if (len(data)) % (head + size):
            self._notes.add(f"byte {packet.at}", "PCM packet that does not hold whole minor frames; its end left out")
        if not pieces:
            return
        stream = unpack(b"".join(pieces))
        starts = np.arange(len(pieces), dtype=np.int64) * size * 8
        good = sync.present(stream, starts, self._pattern)
        if not good.all():
            self._notes.add(
                f"byte {packet.at}", "minor frame(s) without their sync pattern; left out", int((~good).sum())
            )
        self._extract(stream, starts[good], np.array(stamps, dtype=np.int64)[good])

    def _search(self, *, keep_tail: bool) -> None:
        """Find the minor frames of the collected run; the bits after the last whole one wait for the next packet."""
        data = b"".join(piece for _, piece in self._run)
        stream = unpack(data)
        found = sync.minor_frames(data, stream, self._pattern, self._layout.minor_frame_bits)
        begins = np.cumsum([0] + [len(piece) * 8 for _, piece in self._run[:-1]]).astype(np.int64)
        ticks = np.array([t for t, _ in self._run], dtype=np.int64)
        if len(found):
            which = np.searchsorted(begins, found, side="right") - 1
            inside = (found - begins[which]) * (RTC_HZ / self._layout.bits_per_second)
            self._extract(stream, found, ticks[which] + np.rint(inside).astype(np.int64))
        elif not keep_tail:
            self._notes.add(f"channel {self._layout.channel}", "PCM in which the sync pattern was not found", len(data))
        self._keep(data, begins, ticks, int(found[-1]) + self._layout.minor_frame_bits if len(found) else 0, keep_tail)

    def _keep(self, data: bytes, begins: Int64Array, ticks: Int64Array, used_bits: int, keep_tail: bool) -> None:
        tail_at = max(used_bits // 8, len(data) - 2 * (self._layout.minor_frame_bits // 8 + 8))
        self._run, self._run_bytes = [], 0
        if not keep_tail or tail_at >= len(data):
            return
        which = int(np.searchsorted(begins, tail_at * 8, side="right")) - 1
        inside = (tail_at * 8 - int(begins[which])) * (RTC_HZ / self._layout.bits_per_second)
        pieces = [(int(ticks[which]) + round(inside), data[tail_at : self._end(begins, which, len(data))])]
        pieces += [
            (int(ticks[k]), data[int(begins[k]) // 8 : self._end(begins, k, len(data))])
            for k in range(which + 1, len(begins))
        ]
        self._run, self._run_bytes = pieces, len(data) - tail_at

    @staticmethod
    def _end(begins: Int64Array, k: int, size: int) -> int:
        return int(begins[k + 1]) // 8 if k + 1 < len(begins) else size

    def _extract(self, stream: Bits, starts: Int64Array, ticks: Int64Array) -> None:
        numbers = self._minor_frame_numbers(stream, starts)
        for parameter in self._layout.parameters:
            wanted = np.isin(numbers, parameter.minor_frames) if parameter.minor_frames else np.ones(len(starts), bool)
            if wanted.any():
                self._one(stream, starts[wanted], ticks[wanted], parameter)

    def _minor_frame_numbers(self, stream: Bits, starts: Int64Array) -> Int64Array:
        layout = self._layout
        if layout.counter_word is None:
            return np.ones(len(starts), dtype=np.int64)
        width = layout.counter_bits or layout.word_bits - layout.counter_first_bit + 1
        first = self._word_at(layout.counter_word) + layout.counter_first_bit - 1
        raw = gather(stream, starts, np.arange(first, first + width, dtype=np.int64))
        return raw.astype(np.int64) - layout.counter_first + 1

    def _word_at(self, word: int) -> int:
        return self._layout.sync_bits + (word - 1) * self._layout.word_bits

    def _one(self, stream: Bits, starts: Int64Array, ticks: Int64Array, p: PcmParameter) -> None:
        shift = p.every * self._layout.word_bits
        repeats = 1 if p.every == 0 else (self._layout.words_per_minor_frame - max(p.words)) // p.every + 1
        joined = np.concatenate([self._word_at(w) + np.arange(self._layout.word_bits) for w in p.words])
        width = p.bits or len(joined) - p.first_bit + 1
        positions = joined[p.first_bit - 1 : p.first_bit - 1 + width].astype(np.int64)
        raw = np.stack([gather(stream, starts, positions + k * shift) for k in range(repeats)], axis=1).reshape(-1)
        later = np.rint(np.arange(repeats) * shift * (RTC_HZ / self._layout.bits_per_second)).astype(np.int64)
        into = self.samples[p.name]
        into.ticks.append((ticks[:, None] + later[None, :]).reshape(-1))
        into.values.append(p.scale * to_number(raw, width, p.coding) + p.offset)
