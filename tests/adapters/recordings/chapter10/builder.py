"""Chapter 10 packets written by the standard's rules, for tests: nothing of the product is used here."""

from __future__ import annotations

import struct


def packet(
    channel: int,
    data_type: int,
    rtc: int,
    body: bytes,
    *,
    sequence: int = 0,
    flags: int = 0,
    secondary: bytes = b"",
) -> bytes:
    """One packet; the low two bits of `flags` choose the data checksum (0, 8, 16, 32 bits)."""
    size = (0, 1, 2, 4)[flags & 3]
    filled = body + bytes(-(len(body) + size) % 4)
    if size:
        unit = {1: "B", 2: "H", 4: "I"}[size]
        padded = filled + bytes(-len(filled) % size)
        total = sum(struct.unpack(f"<{len(padded) // size}{unit}", padded)) & ((1 << (8 * size)) - 1)
        filled += total.to_bytes(size, "little")
    if secondary:
        flags |= 0x80
        secondary = secondary + b"\0\0"
        secondary += (sum(struct.unpack("<5H", secondary)) & 0xFFFF).to_bytes(2, "little")
    length = 24 + len(secondary) + len(filled)
    head: bytes = struct.pack("<HHIIBBBB", 0xEB25, channel, length, len(body), 6, sequence % 256, flags, data_type)
    head += (rtc % (1 << 48)).to_bytes(6, "little")
    head += (sum(struct.unpack("<11H", head)) & 0xFFFF).to_bytes(2, "little")
    return head + secondary + filled


def bcd(value: int) -> int:
    """Two decimal digits in one byte."""
    return value // 10 << 4 | value % 10


def day_time(rtc: int, day: int, hour: int, minute: int, second: int, hundredths: int = 0, sequence: int = 0) -> bytes:
    """A time packet in the day-of-year format."""
    digits = bytes([bcd(hundredths), bcd(second), bcd(minute), bcd(hour), bcd(day % 100), day // 100])
    return packet(1, 0x11, rtc, struct.pack("<I", 1) + digits, sequence=sequence)


def dated_time(rtc: int, year: int, month: int, day: int, hour: int, minute: int, second: int) -> bytes:
    """A time packet with month and year."""
    digits = bytes([0, bcd(second), bcd(minute), bcd(hour), bcd(day), bcd(month), bcd(year % 100), bcd(year // 100)])
    return packet(1, 0x11, rtc, struct.pack("<I", 1 | 1 << 9) + digits)


def pcm(channel: int, rtc: int, data: bytes, *, sequence: int = 0, flags: int = 0, swap: int = 2) -> bytes:
    """A throughput PCM packet; `data` as sent, stored in little-endian words of `swap` bytes."""
    return packet(channel, 0x09, rtc, struct.pack("<I", 1 << 20) + stored(data, swap), sequence=sequence, flags=flags)


def stored(data: bytes, swap: int) -> bytes:
    """Bytes as sent to bytes as recorded."""
    return b"".join(data[i : i + swap][::-1] for i in range(0, len(data), swap))


def minor_frame(*words: int) -> bytes:
    """A 32-bit sync pattern and 16-bit words, as sent."""
    return bytes.fromhex("fe6b2840") + struct.pack(f">{len(words)}H", *(w & 0xFFFF for w in words))
