"""Every export is read by libraries that know nothing of us: pandas, polars, duckdb; and they find the same numbers."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from numpy.testing import assert_allclose
from tests.serving_thread import Serving, frames

from spinfloor.client import encode_batch

NUMBER = {"events": "time_ns", "frames": "yaw_rate_dps", "spins": "turns"}


@pytest.fixture(scope="module")
def sortie(service: Serving) -> str:
    """A flown one."""
    service.sortie("exported", data_age_limit_s=10.0)
    headers = {"Content-Type": "application/msgpack"}
    assert service.http.post(
        "/v1/sorties/exported/frames", content=encode_batch("s", 0, frames()), headers=headers
    ).is_success
    return "exported"


def truth(service: Serving, sortie: str, what: str) -> list[Any]:
    """The column of the API's own JSON."""
    answer = service.http.get(f"/v1/sorties/{sortie}/{what}").json()
    if what == "frames":
        return list(answer["columns"][NUMBER[what]])
    return [row[NUMBER[what]] for row in answer[what]]


def by_pandas(data: bytes, form: str, path: Path, column: str) -> list[Any]:
    readers: dict[str, Callable[[Any], Any]] = {
        "csv": pd.read_csv,
        "parquet": pd.read_parquet,
        "ndjson": lambda file: pd.read_json(file, lines=True, dtype=False),
        "arrow": lambda file: pa.ipc.open_stream(file).read_all().to_pandas(),
    }
    return list(readers[form](io.BytesIO(data))[column])


def by_polars(data: bytes, form: str, path: Path, column: str) -> list[Any]:
    readers: dict[str, Callable[[Any], Any]] = {
        "csv": pl.read_csv,
        "parquet": pl.read_parquet,
        "ndjson": pl.read_ndjson,
        "arrow": pl.read_ipc_stream,
    }
    return list(readers[form](io.BytesIO(data))[column].to_list())


def by_duckdb(data: bytes, form: str, path: Path, column: str) -> list[Any]:
    path.write_bytes(data)
    readers = {"csv": "read_csv", "parquet": "read_parquet", "ndjson": "read_ndjson"}
    if form == "arrow":
        table = pa.ipc.open_stream(data).read_all()
        with duckdb.connect() as connection:
            connection.register("t", table)
            return [row[0] for row in connection.execute(f"SELECT {column} FROM t").fetchall()]
    with duckdb.connect() as connection:
        return [row[0] for row in connection.execute(f"SELECT {column} FROM {readers[form]}('{path}')").fetchall()]


@pytest.mark.parametrize("read", [by_pandas, by_polars, by_duckdb])
@pytest.mark.parametrize("form", ["csv", "ndjson", "parquet", "arrow"])
@pytest.mark.parametrize("what", ["events", "frames", "spins"])
def test_read_elsewhere(
    service: Serving, sortie: str, tmp_path: Path, what: str, form: str, read: Callable[..., list[Any]]
) -> None:
    answer = service.http.get(f"/v1/sorties/{sortie}/{what}", params={"format": form})
    got = read(answer.content, form, tmp_path / f"it.{form}", NUMBER[what])
    wanted = truth(service, sortie, what)
    assert len(wanted) > 1
    assert_allclose(got, wanted, rtol=1e-14)  # pandas' JSON reader is off in the last digit


def test_units_travel_with_the_frames(service: Serving, sortie: str) -> None:
    data = service.http.get(f"/v1/sorties/{sortie}/frames", params={"format": "parquet"}).content
    fields = pq.read_schema(io.BytesIO(data))
    assert fields.field("yaw_rate_dps").metadata[b"unit"] == b"deg/s"
