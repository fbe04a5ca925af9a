"""Bits of frames and words to numbers, many frames at a time."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from spinfloor.core.frames import Float64Array, Int64Array
from spinfloor.core.plan.frame_layouts import Coding

Bits = npt.NDArray[np.uint8]


def swapped(data: bytes, container: int) -> bytes:
    """Bytes in the order the bits were sent: the recorder stores them in little-endian words of `container` bytes.

    container: 1 leaves them as they are; an incomplete last word is dropped.
    """
    if container == 1:
        return data
    whole = len(data) - len(data) % container
    return np.frombuffer(data[:whole], dtype=f"<u{container}").byteswap().tobytes()


def unpack(data: bytes) -> Bits:
    """Bits as zeros and ones, most significant first."""
    return np.unpackbits(np.frombuffer(data, dtype=np.uint8))


def gather(stream: Bits, starts: Int64Array, positions: Int64Array) -> npt.NDArray[np.uint64]:
    """One unsigned number per start: the bits at `start + positions`, first is most significant.

    stream: shape (b,); starts: shape (n,); positions: shape (w,), w at most 64. Returns shape (n,).
    """
    out = np.zeros(len(starts), dtype=np.uint64)
    for position in positions:
        out = (out << np.uint64(1)) | stream[starts + position].astype(np.uint64)
    return out


def to_number(raw: npt.NDArray[np.uint64], bits: int, coding: Coding) -> Float64Array:
    """Unsigned bit patterns to values; NaN where a float pattern is not finite."""
    if coding is Coding.FLOAT:
        floats = raw.astype(np.uint32).view(np.float32) if bits == 32 else raw.view(np.float64)
        with np.errstate(invalid="ignore"):  # signalling NaN patterns are data here
            wide = floats.astype(np.float64)
        return np.where(np.isfinite(wide), wide, np.nan)
    if coding is Coding.UNSIGNED:
        return raw.astype(np.float64)
    if coding is Coding.OFFSET_BINARY:
        return raw.astype(np.float64) - 2.0 ** (bits - 1)
    top = (raw >> np.uint64(bits - 1)) & np.uint64(1)
    if coding is Coding.TWOS_COMPLEMENT:
        return raw.astype(np.float64) - top.astype(np.float64) * 2.0**bits
    magnitude = raw & np.uint64((1 << (bits - 1)) - 1)
    return np.where(top == 1, -1.0, 1.0) * magnitude.astype(np.float64)
