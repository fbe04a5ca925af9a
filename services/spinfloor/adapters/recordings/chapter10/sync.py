"""Finding minor frames by their sync pattern, at any bit offset and in either byte order."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from spinfloor.adapters.recordings.chapter10.bits import Bits, swapped, unpack
from spinfloor.core.frames import Int64Array
from spinfloor.core.plan.frame_layouts import PcmLayout


def pattern_bits(layout: PcmLayout) -> Bits:
    """The sync pattern as zeros and ones, shape (sync_bits,); the last `sync_bits` bits of the number given."""
    number = int(layout.sync_pattern_hex, 16)
    return np.array([number >> (layout.sync_bits - 1 - i) & 1 for i in range(layout.sync_bits)], dtype=np.uint8)


def present(stream: Bits, starts: Int64Array, pattern: Bits) -> npt.NDArray[np.bool_]:
    """Whether the pattern stands at each start, shape as `starts`."""
    out = np.ones(len(starts), dtype=np.bool_)
    for i, bit in enumerate(pattern):
        out &= stream[starts + i] == bit
    return out


def places(data: bytes, stream: Bits, pattern: Bits) -> Int64Array:
    """Every bit offset at which the pattern stands, ascending."""
    found: list[int] = []
    whole = np.packbits(pattern[: len(pattern) // 8 * 8]).tobytes()
    for shift in range(8):
        shifted = data if shift == 0 else np.packbits(stream[shift:]).tobytes()
        at = shifted.find(whole)
        while at >= 0:
            found.append(at * 8 + shift)
            at = shifted.find(whole, at + 1)
    starts = np.array(sorted(found), dtype=np.int64)
    starts = starts[starts + len(pattern) <= len(stream)]
    return starts[present(stream, starts, pattern)]


def minor_frames(data: bytes, stream: Bits, pattern: Bits, frame_bits: int) -> Int64Array:
    """Starts of whole minor frames, ascending.

    A pattern counts when another follows or goes before exactly one frame away, or when the stream is too short on
    both sides to tell: the pattern can also occur in the data.
    """
    starts = places(data, stream, pattern)
    if len(starts) == 0:
        return starts
    before, after = np.isin(starts - frame_bits, starts), np.isin(starts + frame_bits, starts)
    cannot_tell = (starts < frame_bits) & (starts + frame_bits + len(pattern) > len(stream))
    good = starts[(before | after | cannot_tell) & (starts + frame_bits <= len(stream))]
    return _apart(good, frame_bits)


def _apart(starts: Int64Array, frame_bits: int) -> Int64Array:
    """Frames cannot overlap: of two that do, the earlier chain is kept."""
    kept: list[int] = []
    for start in starts.tolist():
        if not kept or start >= kept[-1] + frame_bits:
            kept.append(start)
    return np.array(kept, dtype=np.int64)


def storage_order(data: bytes, pattern: Bits, layout: PcmLayout) -> int:
    """Bytes per little-endian storage word (2, 4) or 1 for bytes as sent: where the pattern is found most often.

    Headers among the frames do not matter for the count.
    """
    counts = {}
    for container in (2, 4, 1):
        sent = swapped(data, container)
        counts[container] = len(places(sent, unpack(sent), pattern))
    best = max(counts, key=lambda c: counts[c])
    return best if counts[best] else 2
