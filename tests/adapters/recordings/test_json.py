"""JSON, lines of JSON and MessagePack as recordings: what the service gives and takes, read back exactly."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import numpy.typing as npt
import orjson
import pytest
from numpy.testing import assert_array_equal

from spinfloor.adapters.exports import Format, encode_frames
from spinfloor.adapters.recordings import RecordingError, read_recording
from spinfloor.client import encode_batch
from spinfloor.core.channels import ALPHA, EVENT_MARKER, REQUIRED_COLUMNS, YAW_RATE
from spinfloor.core.frames import FrameBlock

Columns = dict[str, npt.NDArray[np.generic]]
FRAME = dict.fromkeys(REQUIRED_COLUMNS, 1.0)


def _sent(block: FrameBlock) -> bytes:
    """Batches of 7 frames, a line each, as they are posted."""
    pieces = [encode_frames(block.slice(i, i + 7), Format.JSON) for i in range(0, len(block), 7)]
    return b"".join(b'{"source":"s","sequence":%d,%b\n' % (k, piece[1:]) for k, piece in enumerate(pieces))


def _listed(block: FrameBlock) -> bytes:
    return b"[" + encode_frames(block, Format.NDJSON).strip().replace(b"\n", b",\n") + b"]"


FORMS: dict[str, Callable[[FrameBlock], bytes]] = {
    "export.json": lambda block: encode_frames(block, Format.JSON),
    "indented.json": lambda block: json.dumps(json.loads(encode_frames(block, Format.JSON)), indent=2).encode(),
    "export.ndjson": lambda block: encode_frames(block, Format.NDJSON),
    "batches.ndjson": _sent,
    "list.json": _listed,
    "columns.json": lambda block: orjson.dumps(orjson.loads(encode_frames(block, Format.JSON))["columns"]),
    "batch.msgpack": lambda block: encode_batch("s", 0, block),
}


@pytest.mark.parametrize("name", FORMS)
@pytest.mark.parametrize("suffix", ["", ".txt"])  # the content decides
def test_every_form_gives_the_same_frames(tmp_path: Path, spin_columns: Columns, name: str, suffix: str) -> None:
    block = FrameBlock.from_columns(spin_columns)
    block.values[7, YAW_RATE] = np.nan
    path = tmp_path / (name + suffix)
    path.write_bytes(FORMS[name](block))
    recording = read_recording(path)
    assert_array_equal(recording.block.time_ns, block.time_ns)
    assert_array_equal(recording.block.values, block.values)
    assert recording.notes == ()


@pytest.mark.parametrize("form", ["columns alone", "a list of frames"])
def test_messagepack_without_a_batch_around_it(tmp_path: Path, spin_columns: Columns, form: str) -> None:
    block = FrameBlock.from_columns(spin_columns)
    frames = [json.loads(line) for line in encode_frames(block, Format.NDJSON).splitlines()]
    columns = json.loads(encode_frames(block, Format.JSON))["columns"]
    path = tmp_path / "flight.msgpack"
    path.write_bytes(msgspec.msgpack.encode(columns if form == "columns alone" else frames))
    assert_array_equal(read_recording(path).block.values, block.values)


def test_damaged_lines_cost_only_themselves(tmp_path: Path) -> None:
    good = [json.dumps({"time_s": k / 10, **FRAME, "event_marker": k == 3}) for k in range(5)]
    path = tmp_path / "flight.ndjson"
    path.write_text("\n".join(['{"time_s": 0.0, "roll', *good[1:3], "[1]", *good[3:], good[4][:30]]))
    recording = read_recording(path)
    assert recording.block.time_ns.tolist() == [100_000_000, 200_000_000, 300_000_000, 400_000_000]
    assert recording.block.values[:, EVENT_MARKER].tolist() == [0.0, 0.0, 1.0, 0.0]
    assert [n.sentence for n in recording.notes] == ["first at line 1: line is no JSON object; left out (3 times)"]


def test_nan_text_and_numbers_of_both_kinds(tmp_path: Path) -> None:
    columns = {"time_s": [0, 0.5], **{name: [1, float("nan")] for name in REQUIRED_COLUMNS}, "alpha_deg": [45, "x"]}
    path = tmp_path / "flight.json"
    path.write_text(json.dumps({"columns": columns}))
    recording = read_recording(path)
    assert np.isnan(recording.block.values[1, YAW_RATE])
    assert np.isfinite(recording.block.values[0, ALPHA])
    assert [n.what for n in recording.notes] == ["cell(s) of alpha_deg that are not numbers; read as missing"]


@pytest.mark.parametrize(
    ("name", "body", "telling"),
    [
        ("a.json", b'{"columns": {"time_ns": [1, 2], "roll_rate_dps": [1.0]}}', "none that can be read"),
        ("b.json", b'{"columns": {}}', "none that can be read"),
        ("c.json", b'{"columns": {"time_ns": 5}}', "none that can be read"),
        ("d.json", b'{"aircraft": {"name": "x"}, "cards": [1]}', "without time_ns"),
        ("e.json", b'{"columns": {"time_ns": [1]', "none that can be read"),
        ("f.json", b"[" * 100_000, "none that can be read"),
        ("g.msgpack", b"\x81\xa7columns\x81\x01\x92\x01\x02", "without time_ns"),
        ("h.msgpack", b"\x81\xa7columns", "none that can be read"),
        ("i.msgpack", b"\x93\x01\x02\x03", "none that can be read"),
        ("j.json", b'{"columns": {"time_ns": [' + b"9" * 40 + b"]}}", "without roll_rate_dps"),
    ],
)
def test_what_is_none_is_refused_in_one_sentence(tmp_path: Path, name: str, body: bytes, telling: str) -> None:
    (tmp_path / name).write_bytes(body)
    with pytest.raises(RecordingError, match=telling) as refused:
        read_recording(tmp_path / name)
    assert "\n" not in refused.value.sentence
