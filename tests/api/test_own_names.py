"""Frames under a source's own names over HTTP and WebSocket, by the channel map of the sortie's plan."""

from __future__ import annotations

import asyncio
import io
import itertools
from pathlib import Path
from typing import Any

import orjson
import pyarrow as pa
import pyarrow.parquet as pq
from numpy.testing import assert_allclose, assert_array_equal
from tests.serving_thread import Serving, frames, plan_data

from spinfloor.adapters.sqlite import open_store
from spinfloor.api.own_names import OwnNames
from spinfloor.client import Client, encode_batch
from spinfloor.ingest.batches import Wire
from spinfloor.ports.sorties import SortieKind, SortieRecord

NAMES = itertools.count()
MAP: dict[str, Any] = {
    "time": {"source": "clock", "unit": "ns"},
    "columns": {
        "roll_rate_dps": {"source": "P", "unit": "rad/s"},
        "pitch_rate_dps": {"source": "Q", "unit": "rad/s"},
        "yaw_rate_dps": {"source": "R", "unit": "rad/s"},
        "pressure_altitude_ft": {"source": "Hp", "unit": "m"},
    },
}


def sortie(service: Serving) -> str:
    name = f"own-{next(NAMES)}"
    plan = {**plan_data(data_age_limit_s=10.0), "channel_map": MAP}
    assert service.http.post(f"/v1/sorties?id={name}", json=plan).status_code == 201
    return name


def own_columns(first: int, last: int) -> dict[str, list[Any]]:
    block = frames().slice(first, last)
    names = {"P": 0, "Q": 1, "R": 2, "Hp": 3}
    return {"clock": block.time_ns.tolist(), **{n: block.values[:, i].tolist() for n, i in names.items()}, "T4": [1.0]}


def post(service: Serving, name: str, sequence: int, columns: dict[str, Any]) -> Any:
    body = {"source": "boom", "sequence": sequence, "columns": columns}
    return service.http.post(f"/v1/sorties/{name}/frames", json=body)


def test_own_names_over_http_make_the_spins_that_contract_names_make(service: Serving) -> None:
    name, plain = sortie(service), service.sortie(f"own-{next(NAMES)}", data_age_limit_s=10.0)
    for sequence, first in enumerate(range(0, len(frames()), 700)):
        answer = post(service, name, sequence, own_columns(first, min(first + 700, len(frames()))))
        assert answer.status_code == 200, answer.text
    assert post(service, name, 0, own_columns(0, 700)).json()["duplicates"] == 700
    five = {c: v for c, v in frames().to_columns().items() if c in ("time_ns", *MAP["columns"])}
    body = {"source": "boom", "sequence": 0, "columns": {c: v.tolist() for c, v in five.items()}}
    assert service.http.post(f"/v1/sorties/{plain}/frames", json=body).status_code == 200
    got, wanted = (service.http.get(f"/v1/sorties/{one}/frames").json()["columns"] for one in (name, plain))
    assert got["time_ns"] == wanted["time_ns"]
    for column in MAP["columns"]:
        assert_allclose(got[column], wanted[column], rtol=1e-12, atol=1e-9)
    one, two = (service.http.get(f"/v1/sorties/{n}/spins").json()["spins"] for n in (name, plain))
    assert [(s["direction"], round(s["turns"], 6)) for s in one] == [
        (s["direction"], round(s["turns"], 6)) for s in two
    ]


async def test_own_names_over_the_socket_and_contract_names_beside_them(service: Serving) -> None:
    name = sortie(service)
    async with Client(service.base) as client, client.socket(f"/v1/sorties/{name}/frames") as socket:
        batch = {"source": "boom", "sequence": 0, "columns": own_columns(0, 50)}
        await socket.send(orjson.dumps(batch).decode())
        assert orjson.loads(await socket.recv())["accepted"] == 50
        await socket.send(encode_batch("tail", 0, frames().slice(50, 60)))
        await socket.recv()
        await socket.send(orjson.dumps({"source": "x", "sequence": 0, "columns": {"clock": [1], "no": [2]}}).decode())
        assert "channel map" in orjson.loads(await socket.recv())["error"]["detail"]
    assert service.http.get(f"/v1/sorties/{name}").json()["frames"]["count"] == 60


def test_a_table_in_own_names(service: Serving) -> None:
    name = sortie(service)
    buffer = io.BytesIO()
    columns = {k: v for k, v in own_columns(0, 40).items() if k != "T4"}
    columns["time_ns"] = columns.pop("clock")
    pq.write_table(pa.table(columns), buffer)
    query: dict[str, str | int] = {"source": "boom", "sequence": 0}
    headers = {"Content-Type": "application/vnd.apache.parquet"}
    path = f"/v1/sorties/{name}/frames"
    refused = service.http.post(path, params=query, content=buffer.getvalue(), headers=headers)
    assert refused.status_code == 422
    assert "clock" in refused.json()["detail"]


def test_without_a_map_or_with_lengths_that_differ_nothing_is_taken(service: Serving) -> None:
    plain = service.sortie(f"own-{next(NAMES)}")
    answer = post(service, plain, 0, own_columns(0, 5))
    assert (answer.status_code, "channel map" in answer.json()["detail"]) == (422, True)
    name = sortie(service)
    uneven = {**own_columns(0, 5), "P": [1.0]}
    assert post(service, name, 0, uneven).status_code == 422
    assert service.http.get(f"/v1/sorties/{name}").json()["frames"]["count"] == 0


async def test_big_batches_of_a_source_take_turns_with_small_ones(tmp_path: Path) -> None:
    """Some mapped in a thread, some not: what each leaves for the next is as if they had come one after another."""
    ports = open_store(tmp_path)
    plan = {**plan_data(data_age_limit_s=10.0), "channel_map": MAP}
    await ports.sorties.create(SortieRecord("s", SortieKind.FLIGHT, 1, "aircraft", plan))
    alone, together = OwnNames(ports.sorties), OwnNames(ports.sorties)
    wires = [Wire("boom", k, own_columns(10 * k, 10 * k + 10)) for k in range(12)]
    for wire in wires:
        wire.columns["Hp"][1:] = [None] * 9  # a slow channel, held from batch to batch
    one_by_one = [await alone.batch("s", wire) for wire in wires]
    first = await together.batch("s", wires[0])
    rest = (together.batch("s", wire, aside=k % 3 == 0) for k, wire in enumerate(wires[1:]))
    for one, other in zip(one_by_one, [first, *await asyncio.gather(*rest)], strict=True):
        assert_array_equal(one.block.values, other.block.values)
    await ports.close()
