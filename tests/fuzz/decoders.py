"""Every decoder of bytes from outside, with a good example each: what hypothesis (here) and atheris (tests/tools/fuzz.py) bend.

A decoder ends in what it decodes or in one of its documented errors; anything else is a defect.
"""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import orjson
import pyarrow as pa
import pyarrow.parquet as pq
import yaml
from tests.places import ROOT

from spinfloor.adapters.exports import Format, encode_frames
from spinfloor.adapters.links import LabelledValues
from spinfloor.adapters.mavlink import MavlinkDecoder
from spinfloor.adapters.recordings import read_recording
from spinfloor.adapters.table_columns import ARROW, PARQUET, columns_of
from spinfloor.api.routes.live import decode_said
from spinfloor.client import encode_batch
from spinfloor.core.channels import CHANNEL_COUNT
from spinfloor.core.detector.saving import pack, unpack
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Mark
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap
from spinfloor.core.plan.load import parse_plan
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.ingest.batches import batch_of, read_json, read_msgpack
from spinfloor.ports.inputs import MarkInput
from spinfloor.ports.wire import decode_input, encode_block, encode_input

AT_NS = 1_900_000_000_000_000_000
LINK_MAP = {
    "time": {"source": "Time", "unit": "s"},
    "columns": {
        "roll_rate_dps": {"source": "P", "unit": "deg/s"},
        "pitch_rate_dps": {"source": "Q", "unit": "deg/s"},
        "yaw_rate_dps": {"source": "R", "unit": "deg/s"},
        "pressure_altitude_ft": {"source": "h", "unit": "ft"},
    },
}
LINES = b"<LABELS> ,Time,P,Q,R,h\n0,0.1,2,3,4,8000\n0,0.2,2,3,4,7990\n0,0.3,x,3,4,7980\n"
# MAVLink 2 ATTITUDE, the vector of tests/adapters/mavlink/test_decoder.py
ATTITUDE = bytes.fromhex("fd1c00000701011e0000393000000000000000db0f49bf4ee43d402190bd3f000000002190bd3fb034")
SAID = b'{"type":"sounded","sequence":7,"latency_ms":41.5}'


@dataclass(frozen=True)
class Decoder:
    """take: bytes in. example: good bytes. refusals: the documented errors."""

    name: str
    take: Callable[[bytes], object]
    example: Callable[[], bytes]
    refusals: tuple[type[Exception], ...] = (SpinfloorError,)


def block(rows: int = 20) -> FrameBlock:
    """A few plain frames."""
    values = np.tile(np.arange(CHANNEL_COUNT, dtype=np.float64), (rows, 1))
    return FrameBlock(np.arange(rows, dtype=np.int64) * 10_000_000 + AT_NS, values)


@cache
def _table() -> pa.Table:
    return pa.table({name: pa.array(column) for name, column in block().to_columns().items()})


def _parquet() -> bytes:
    buffer = io.BytesIO()
    pq.write_table(_table(), buffer)
    return buffer.getvalue()


def _arrow() -> bytes:
    buffer = io.BytesIO()
    with pa.ipc.new_stream(buffer, _table().schema) as stream:
        stream.write_table(_table())
    return buffer.getvalue()


def _csv() -> bytes:
    names = list(block().to_columns())
    rows = zip(*(column.tolist() for column in block().to_columns().values()), strict=True)
    return "\n".join([",".join(names), *(",".join(str(v) for v in row) for row in rows)]).encode()


def _json() -> bytes:
    columns = {name: column.tolist() for name, column in block(5).to_columns().items()}
    return orjson.dumps({"source": "s", "sequence": 3, "columns": columns})


def _plan() -> bytes:
    return (ROOT / "replay_data" / "r02-left-right-pair.plan.yaml").read_bytes()


def _beliefs() -> bytes:
    return json.dumps(Beliefs.from_plan(parse_plan(_plan().decode())).as_json()).encode()


def _saved() -> bytes:
    return pack({"sortie": "s", "run": "r"}, [b"a" * 40, b"b" * 8])


def _recording(suffix: str) -> Callable[[bytes], object]:
    def take(data: bytes) -> object:
        with tempfile.NamedTemporaryFile(suffix=suffix) as file:
            file.write(data)
            file.flush()
            return read_recording(Path(file.name))

    return take


def _text(take: Callable[[str], object]) -> Callable[[bytes], object]:
    return lambda data: take(data.decode("utf-8", "replace"))


def _from_json(take: Callable[[Any], object]) -> Callable[[bytes], object]:
    def decoded(data: bytes) -> object:
        try:
            value = orjson.loads(data)
        except orjson.JSONDecodeError:
            return None
        return take(value)

    return decoded


def _link(data: bytes) -> object:
    link = LabelledValues(ChannelMap.model_validate(LINK_MAP))
    return [link.take(data[i : i + 17], AT_NS + i) for i in range(0, len(data), 17)]


def _mavlink(data: bytes) -> object:
    decoder = MavlinkDecoder()
    return [decoder.take(data[i : i + 17], AT_NS + i) for i in range(0, len(data), 17)]


DECODERS = [
    Decoder("batch in JSON", lambda body: batch_of(read_json(body)), _json),
    Decoder(
        "batch in MessagePack", lambda body: batch_of(read_msgpack(body)), lambda: encode_batch("s", 3, block(5))
    ),
    Decoder("batch in Parquet", lambda data: columns_of(PARQUET, data, missing_time=-1), _parquet),
    Decoder("batch in Arrow", lambda data: columns_of(ARROW, data, missing_time=-1), _arrow),
    Decoder("plan", _text(parse_plan), _plan),
    Decoder("plan in JSON", _text(parse_plan), lambda: orjson.dumps(yaml.safe_load(_plan()))),
    Decoder("beliefs", _from_json(Beliefs.from_json), _beliefs),
    Decoder("saved detector", unpack, _saved, (SpinfloorError, ValueError)),
    Decoder("input on the wire", lambda data: decode_input(data, received_ns=0), lambda: encode_block(block(3)),
            (ValueError,)),
    Decoder("mark on the wire", lambda data: decode_input(data, received_ns=0),
            lambda: encode_input(MarkInput(Mark("note", 1, "x", {"text": "t"}), 1, "k")), (ValueError,)),
    Decoder("message of a browser", _text(decode_said), lambda: SAID, (msgspec.DecodeError,)),
    Decoder("labelled lines", _link, lambda: LINES),
    Decoder("MAVLink", _mavlink, lambda: ATTITUDE * 3),
    Decoder("recording in CSV", _recording(".csv"), _csv),
    Decoder("recording in JSON", _recording(".json"), _json),
    Decoder("recording in lines of JSON", _recording(".ndjson"), lambda: encode_frames(block(5), Format.NDJSON)),
    Decoder("recording in MessagePack", _recording(".msgpack"), lambda: encode_batch("s", 3, block(5))),
    Decoder("recording in Parquet", _recording(".parquet"), _parquet),
    Decoder("recording of any kind", _recording(""), lambda: b"\x25\xeb" + bytes(22)),
]  # fmt: skip
BY_NAME = {decoder.name: decoder for decoder in DECODERS}


def tried(decoder: Decoder, data: bytes) -> str:
    """The sentence of the refusal, or nothing. Anything else that is raised comes out."""
    try:
        decoder.take(data)
    except decoder.refusals as refusal:
        return refusal.sentence if isinstance(refusal, SpinfloorError) else str(refusal)
    return ""
