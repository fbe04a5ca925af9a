"""Any bytes end in a recording or in a documented error, never in anything else."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path

import h5py
import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
import scipy.io
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from spinfloor.adapters.recordings import read_recording
from spinfloor.core.errors import SpinfloorError

STARTS = [
    b"",
    b"PAR1",
    b"ARROW1\0\0",
    b"\x89HDF\r\n\x1a\n",
    b"MATLAB 5.0 MAT-file",
    b"time_s,roll_rate_dps\n",
    b"\x25\xeb",
]


def _taken(path: Path, data: bytes) -> None:
    path.write_bytes(data)
    sentence = ""
    try:
        recording = read_recording(path)
    except SpinfloorError as error:
        sentence = error.sentence
    if sentence:
        assert sentence.endswith(".")
        assert "\n" not in sentence
    else:
        assert recording.block.values.shape == (len(recording.block.time_ns), 19)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    start=st.sampled_from(STARTS), data=st.binary(max_size=600), suffix=st.sampled_from(["", ".csv", ".parquet", ".h5"])
)
def test_any_bytes(tmp_path: Path, start: bytes, data: bytes, suffix: str) -> None:
    _taken(tmp_path / f"any{suffix}", start + data)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(text=st.text(alphabet=st.sampled_from("time_s,;\t\n\"'0123456789.-eE+ nanrolyw[]()/°"), max_size=300))
def test_any_text(tmp_path: Path, text: str) -> None:
    _taken(tmp_path / "any.csv", text.encode())


@cache
def _whole(kind: str) -> bytes:
    n = 50
    columns = {"time_s": np.arange(n) / 50.0}
    columns |= dict.fromkeys(["roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps"], np.full(n, 84.8528))
    columns["pressure_altitude_ft"] = np.full(n, 10_000.0)
    buffer = io.BytesIO()
    frame = pd.DataFrame(columns)
    if kind == "parquet":
        frame.to_parquet(buffer, index=False)
    elif kind == "arrow":
        table = pa.Table.from_pandas(frame, preserve_index=False)
        with pa.ipc.new_stream(buffer, table.schema) as writer:
            writer.write_table(table, max_chunksize=10)
    elif kind in ("hdf5", "matlab73"):
        with h5py.File(buffer, "w", userblock_size=512 if kind == "matlab73" else 0) as file:
            for name, values in columns.items():
                file[name] = values
        if kind == "matlab73":
            return b"MATLAB 7.3 MAT-file".ljust(512, b" ") + buffer.getvalue()[512:]
    elif kind == "matlab":
        scipy.io.savemat(buffer, columns)
    else:
        buffer.write(frame.to_csv(index=False).encode())
    return buffer.getvalue()


@pytest.mark.parametrize("kind", ["parquet", "arrow", "hdf5", "matlab", "matlab73", "csv"])
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_damage(tmp_path: Path, kind: str, data: st.DataObject) -> None:
    whole = bytearray(_whole(kind))
    for _ in range(data.draw(st.integers(0, 8))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(whole)))
    _taken(tmp_path / f"damaged.{kind}", bytes(whole[:cut] if data.draw(st.booleans()) else whole))
