"""Cutting a byte stream into MAVLink packets (versions 1 and 2): lengths only, contents are checked later."""

from __future__ import annotations

_V1, _V2 = 0xFE, 0xFD
MARKERS = (_V1, _V2)
_SIGNED = 0x01
_SIGNATURE_BYTES = 13


def packet_length(data: bytes | bytearray, at: int) -> int | None:
    """Whole length of the packet that begins at `at`; 0 when none can begin there, None when more bytes are needed."""
    if data[at] == _V1:
        return 6 + data[at + 1] + 2 if at + 2 <= len(data) else None
    if data[at] != _V2:
        return 0
    if at + 3 > len(data):
        return None
    flags = data[at + 2]
    if flags & ~_SIGNED:
        return 0
    return 10 + data[at + 1] + 2 + (_SIGNATURE_BYTES if flags & _SIGNED else 0)


def next_marker(data: bytes | bytearray, at: int) -> int:
    """Where the next packet may begin, the end of the data when nowhere."""
    places = [p for p in (data.find(_V1, at), data.find(_V2, at)) if p >= 0]
    return min(places, default=len(data))
