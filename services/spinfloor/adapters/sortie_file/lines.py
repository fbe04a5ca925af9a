"""Inputs as lines of JSON; the frames themselves stand in the table beside it."""

from __future__ import annotations

from typing import Annotated, Any, Final

import msgspec

from spinfloor.core.events import Json, Mark
from spinfloor.core.frames import FrameBlock
from spinfloor.ports.inputs import FloorsInput, FramesInput, Input, MarkInput, TickInput

_Time = Annotated[int, msgspec.Meta(ge=-(2**63), le=2**63 - 1)]
_Name = Annotated[str, msgspec.Meta(max_length=200)]
_Rows = Annotated[int, msgspec.Meta(ge=0, le=10_000_000)]


class _Line(msgspec.Struct, tag_field="kind", forbid_unknown_fields=True, kw_only=True):
    received_ns: _Time


class FramesLine(_Line, tag="frames", kw_only=True):
    """The next `rows` rows of the table, sent as one batch."""

    source: _Name
    sequence: _Time
    rows: _Rows


class TickLine(_Line, tag="tick", kw_only=True):
    """Time passing without frames."""

    time_ns: _Time


class MarkLine(_Line, tag="mark", kw_only=True):
    """A mark; `mark` is its kind."""

    mark: _Name
    time_ns: _Time
    by: _Name
    data: dict[str, Any]
    key: _Name | None = None


class FloorsLine(_Line, tag="floors", kw_only=True):
    """New floors."""

    floors: dict[str, Any]
    time_ns: _Time
    by: _Name
    key: _Name | None = None


Line = FramesLine | TickLine | MarkLine | FloorsLine
_DECODER: Final = msgspec.json.Decoder(Line)
_ENCODER: Final = msgspec.json.Encoder()


def line_of(one: Input) -> bytes:
    """An input as its line."""
    match one:
        case FramesInput():
            line: Line = FramesLine(
                received_ns=one.received_ns, source=one.source, sequence=one.sequence, rows=len(one.block)
            )
        case TickInput():
            line = TickLine(received_ns=one.received_ns, time_ns=one.time_ns)
        case MarkInput(mark=mark):
            line = MarkLine(
                received_ns=one.received_ns, mark=mark.kind, time_ns=mark.time_ns, by=mark.by, data=dict(mark.data),
                key=one.key,
            )  # fmt: skip
        case FloorsInput():
            line = FloorsLine(
                received_ns=one.received_ns, floors=dict(one.floors), time_ns=one.time_ns, by=one.by, key=one.key
            )
    return _ENCODER.encode(line) + b"\n"


def parse_line(text: bytes) -> Line:
    """The line back. Raises ValueError (msgspec's errors are ones)."""
    try:
        line: Line = _DECODER.decode(text)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise ValueError(str(error)) from error
    return line


def input_of(line: Line, block: FrameBlock | None) -> Input:
    """The input of a line; block: the rows of a batch."""
    match line:
        case FramesLine():
            assert block is not None
            return FramesInput(line.source, line.sequence, line.received_ns, block)
        case TickLine():
            return TickInput(line.time_ns, line.received_ns)
        case MarkLine():
            data: dict[str, Json] = line.data
            return MarkInput(Mark(line.mark, line.time_ns, line.by, data), line.received_ns, line.key)
        case FloorsLine():
            return FloorsInput(line.floors, line.time_ns, line.by, line.received_ns, line.key)
