"""One input as bytes, the same for every adapter that stores or carries it.

Layout, little-endian: one byte kind, then
- frames: uint32 number of frames n, uint32 bit mask of the channels present (bit = position in CHANNELS), int64[n]
  time_ns, then float64[n] for each channel present, by position: SI values, bit for bit.
- tick, mark, floors: JSON (UTF-8).
Source, sequence and received_ns travel beside it (columns or headers).
"""

from __future__ import annotations

import functools
import operator
import struct
from collections.abc import Iterable
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import orjson

from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.events import Mark
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.inputs import FloorsInput, FramesInput, Input, MarkInput, TickInput

KIND_FRAMES: Final = 0
KIND_TICK: Final = 1
KIND_MARK: Final = 2
KIND_FLOORS: Final = 3

HEADER: Final = struct.Struct("<BxxxII4x")  # 16 bytes, so that the arrays behind it are aligned


def encode_block(block: FrameBlock) -> bytes:
    """A block as bytes; channels without any value are left out."""
    mask = mask_of(block)
    return join_block(block.time_ns, mask, block.values.T[channels_of(mask)])


def mask_of(block: FrameBlock) -> int:
    """The channels that have a value at all, bit = position in CHANNELS."""
    present = ~np.isnan(block.values).all(axis=0)
    return int.from_bytes(np.packbits(present, bitorder="little").tobytes(), "little")


def join_block(time_ns: npt.NDArray[np.int64], mask: int, columns: npt.NDArray[np.float64]) -> bytes:
    """Bytes of a block from its columns, shape (channels in the mask, n), each with a value at least."""
    header = HEADER.pack(KIND_FRAMES, len(time_ns), mask)
    return header + time_ns.astype("<i8", copy=False).tobytes() + columns.tobytes()


@functools.lru_cache(maxsize=256)
def channels_of(mask: int) -> list[int]:
    """Positions of the channels in a mask; not to be changed."""
    return [i for i in range(CHANNEL_COUNT) if mask >> i & 1]


def form_of(body: bytes | memoryview) -> tuple[int, list[int]]:
    """Number of frames in a block's bytes and positions of its channels. Raises ValueError when the bytes are not one."""
    if len(body) < HEADER.size:
        raise ValueError("too short for a frame block")
    kind, n, mask = HEADER.unpack_from(body)
    positions = channels_of(mask)
    if kind != KIND_FRAMES or mask >> CHANNEL_COUNT or len(body) != HEADER.size + 8 * n * (1 + len(positions)):
        raise ValueError("not a frame block")
    return n, positions


def decode_block(body: bytes | memoryview) -> FrameBlock:
    """The block back, bit for bit. Raises ValueError when the bytes are not one."""
    n, positions = form_of(body)
    time_ns = np.frombuffer(body, dtype="<i8", count=n, offset=HEADER.size).astype(np.int64)
    values = np.full((n, CHANNEL_COUNT), np.nan)
    if positions:
        columns = np.frombuffer(body, dtype="<f8", offset=HEADER.size + 8 * n).reshape(len(positions), n)
        values[:, positions] = columns.T
    return FrameBlock(time_ns, values)


MASK_AT: Final = 8  # where in the bytes of a block the mask of its channels is
MASK_BYTES: Final = 4


def mask_from(masks: Iterable[bytes]) -> int:
    """All channels present in any of several blocks, from the masks cut out of their bytes."""
    return functools.reduce(operator.or_, (int.from_bytes(mask, "little") for mask in masks), 0)


def kind_of(entry: Input) -> int:
    """The kind byte."""
    match entry:
        case FramesInput():
            return KIND_FRAMES
        case TickInput():
            return KIND_TICK
        case MarkInput():
            return KIND_MARK
        case FloorsInput():
            return KIND_FLOORS


def identity_of(entry: Input) -> tuple[str, int] | str | None:
    """What makes the same input the same: (source, sequence) of a batch, the key of a mark, None for a tick."""
    match entry:
        case FramesInput():
            return (entry.source, entry.sequence)
        case TickInput():
            return None
        case MarkInput() | FloorsInput():
            return entry.key


def encode_input(entry: Input) -> bytes:
    """The body of an input."""
    match entry:
        case FramesInput():
            return encode_block(entry.block) if entry.body is None else entry.body
        case TickInput():
            return bytes([KIND_TICK]) + orjson.dumps({"time_ns": entry.time_ns})
        case MarkInput():
            mark = entry.mark
            return bytes([KIND_MARK]) + orjson.dumps(
                {"kind": mark.kind, "time_ns": mark.time_ns, "by": mark.by, "data": dict(mark.data)}
            )
        case FloorsInput():
            return bytes([KIND_FLOORS]) + orjson.dumps(
                {"floors": dict(entry.floors), "time_ns": entry.time_ns, "by": entry.by}
            )


def decode_input(
    body: bytes, *, received_ns: int, source: str = "", sequence: int = -1, key: str | None = None
) -> Input:
    """The input back. Raises ValueError when the bytes are none."""
    if not body:
        raise ValueError("an input needs at least its kind byte")
    if body[0] == KIND_FRAMES:
        return FramesInput(source, sequence, received_ns, decode_block(body), body)
    try:
        return _decode_record(body[0], orjson.loads(body[1:]), received_ns, key)
    except (KeyError, TypeError) as exc:
        raise ValueError(f"not an input of kind {body[0]}: {exc!r}") from exc


def _decode_record(kind: int, record: Any, received_ns: int, key: str | None) -> Input:
    if kind == KIND_TICK:
        return TickInput(record["time_ns"], received_ns)
    if kind == KIND_MARK:
        return MarkInput(Mark(record["kind"], record["time_ns"], record["by"], record["data"]), received_ns, key)
    if kind == KIND_FLOORS:
        return FloorsInput(record["floors"], record["time_ns"], record["by"], received_ns, key)
    raise ValueError(f"unknown input kind {kind}")
