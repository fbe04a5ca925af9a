"""The packet header of IRIG 106 Chapter 10 (Chapter 11 from the 2017 edition on) and its checksums.

24 bytes, little-endian: sync 0xEB25, channel, packet length, data length, header version, sequence, flags, data type,
48-bit relative time counter at 10 MHz, checksum. The checksum is the 16-bit sum of the eleven words before it. With
flag 0x80 a secondary header of 12 bytes follows: eight of time, two reserved, and a checksum of the same kind.
Source: the open-source C reference library's irig106ch10.h; checked against the byte vectors in tests/.
"""

from __future__ import annotations

import mmap
import struct
from dataclasses import dataclass
from typing import Final

import numpy as np

SYNC: Final = b"\x25\xeb"
HEADER_BYTES: Final = 24
SECONDARY_BYTES: Final = 12
RTC_HZ: Final = 10_000_000
RTC_MODULUS: Final = 1 << 48
NS_PER_TICK: Final = 100

# 524,288 bytes, except set-up records, which may reach 134,217,728 (the standard's limit, from memory).
LONGEST_PACKET: Final = 524_288
LONGEST_SETUP: Final = 134_217_728

TYPE_SETUP: Final = 0x01
TYPE_PCM: Final = 0x09
TYPE_TIME: Final = 0x11
TYPE_BUS: Final = 0x19
TYPE_ANALOG: Final = 0x21

FLAG_SECONDARY: Final = 0x80
FLAG_STAMP_IS_SECONDARY: Final = 0x40
FLAG_RTC_ERROR: Final = 0x20
FLAG_OVERFLOW: Final = 0x10

_HEADER = struct.Struct("<HHIIBBBB6sH")
_CHECKSUM_BYTES = (0, 1, 2, 4)


@dataclass(frozen=True, slots=True)
class Header:
    """One packet header, checksum already found good. rtc: ticks of 100 ns, not unwrapped."""

    channel: int
    packet_bytes: int
    data_bytes: int
    sequence: int
    flags: int
    data_type: int
    rtc: int

    @property
    def body_at(self) -> int:
        """Where the body begins, from the start of the packet."""
        return HEADER_BYTES + (SECONDARY_BYTES if self.flags & FLAG_SECONDARY else 0)

    @property
    def checksum_bytes(self) -> int:
        """Length of the data checksum at the very end of the packet."""
        return _CHECKSUM_BYTES[self.flags & 0x03]


def parse_header(data: bytes | mmap.mmap, at: int) -> Header | None:
    """The header at byte `at`, or None when it is none: wrong sync, wrong checksum or lengths that cannot be."""
    raw = data[at : at + HEADER_BYTES]
    if len(raw) < HEADER_BYTES or raw[:2] != SYNC or word_sum(raw[:22]) != int.from_bytes(raw[22:24], "little"):
        return None
    _, channel, packet_bytes, data_bytes, _, sequence, flags, data_type, rtc, _ = _HEADER.unpack(raw)
    header = Header(channel, packet_bytes, data_bytes, sequence, flags, data_type, int.from_bytes(rtc, "little"))
    longest = LONGEST_SETUP if data_type == TYPE_SETUP else LONGEST_PACKET
    room = packet_bytes - header.body_at - header.checksum_bytes
    if packet_bytes > longest or room < 0 or data_bytes > room:
        return None
    return header


def word_sum(raw: bytes) -> int:
    """16-bit arithmetic sum of little-endian words."""
    return int(np.frombuffer(raw, dtype="<u2").sum(dtype=np.uint64)) & 0xFFFF


def secondary_good(packet: bytes) -> bool:
    """Whether the secondary header's checksum is right."""
    raw = packet[HEADER_BYTES : HEADER_BYTES + SECONDARY_BYTES]
    return len(raw) == SECONDARY_BYTES and word_sum(raw[:10]) == int.from_bytes(raw[10:12], "little")


def data_good(header: Header, packet: bytes) -> bool:
    """Whether the data checksum (none, 8, 16 or 32 bits) is right: the sum of all between header and checksum."""
    size = header.checksum_bytes
    if size == 0:
        return True
    raw = packet[header.body_at : header.packet_bytes - size]
    stated = int.from_bytes(packet[header.packet_bytes - size : header.packet_bytes], "little")
    padded = raw + bytes(-len(raw) % size)
    total = int(np.frombuffer(padded, dtype=f"<u{size}").sum(dtype=np.uint64))
    return total & ((1 << (8 * size)) - 1) == stated
