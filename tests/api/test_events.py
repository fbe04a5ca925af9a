"""Events out: every format, the stream that resumes, the live socket that loses nothing."""

from __future__ import annotations

import asyncio
import csv
import io
import itertools
from typing import Any

import httpx
import orjson
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from tests.serving_thread import Serving, frames, plan_data

from spinfloor.api.feed import EventFeed
from spinfloor.api.routes import events as routes
from spinfloor.client import Client, ServiceError, encode_batch
from spinfloor.core.detector.detector import Detector
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.load import plan_from

NAMES = itertools.count()
MSGPACK = {"Content-Type": "application/msgpack"}
PATIENT = {"data_age_limit_s": 10.0}


def flown(service: Serving, name: str, *, upto: int | None = None) -> str:
    """A sortie with the recording (or its beginning) sent."""
    service.sortie(name, **PATIENT)
    send(service, name, 0, frames() if upto is None else frames().slice(0, upto))
    return name


def send(service: Serving, name: str, sequence: int, block: FrameBlock) -> None:
    body = encode_batch("test", sequence, block)
    assert service.http.post(f"/v1/sorties/{name}/frames", content=body, headers=MSGPACK).status_code == 200


@pytest.fixture(scope="module")
def sortie(service: Serving) -> str:
    return flown(service, "events")


def test_the_service_tells_what_the_detector_alone_tells(service: Serving, sortie: str) -> None:
    told = service.http.get(f"/v1/sorties/{sortie}/events").json()
    sent = FrameBlock.from_columns(frames().to_columns())
    alone = Detector(sortie=sortie, plan=plan_from(plan_data(**PATIENT))).feed(sent)
    assert told["events"] == [orjson.loads(orjson.dumps(e.as_record())) for e in alone]
    assert [e["sequence"] for e in told["events"]] == list(range(len(alone)))
    assert {e["run"] for e in told["events"]} == {told["run"]}


def test_every_format_holds_every_event(service: Serving, sortie: str) -> None:
    count = len(service.http.get(f"/v1/sorties/{sortie}/events").json()["events"])

    def get(accept: str) -> httpx.Response:
        return service.http.get(f"/v1/sorties/{sortie}/events", headers={"Accept": accept})

    lines = get("application/x-ndjson").text.splitlines()
    assert [orjson.loads(line)["sequence"] for line in lines] == list(range(count))
    rows = list(csv.DictReader(io.StringIO(get("text/csv").text)))
    assert [int(row["sequence"]) for row in rows] == list(range(count))
    parquet = pq.read_table(io.BytesIO(get("application/vnd.apache.parquet").content))
    arrow = pa.ipc.open_stream(get("application/vnd.apache.arrow.stream").content).read_all()
    assert parquet.equals(arrow)
    assert pa.ipc.open_file(get("application/vnd.apache.arrow.file").content).read_all().equals(arrow)
    assert parquet.num_rows == count
    assert get("image/png").status_code == 406


@pytest.mark.parametrize("form", ["json", "ndjson", "csv", "parquet", "arrow", "arrow-file"])
@pytest.mark.parametrize("query", [{}, {"limit": 6}, {"after": 3, "kind": "spin.turn"}])
def test_events_of_several_pages_are_those_of_one(
    service: Serving, sortie: str, form: str, query: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    def get() -> bytes:
        return service.http.get(f"/v1/sorties/{sortie}/events", params={"format": form, **query}).content

    whole = get()
    monkeypatch.setattr(routes, "PAGE", 4)
    paged = get()
    if form == "parquet":
        assert pq.read_table(io.BytesIO(paged)).to_pylist() == pq.read_table(io.BytesIO(whole)).to_pylist()
    elif form.startswith("arrow"):
        opened = pa.ipc.open_stream if form == "arrow" else pa.ipc.open_file
        assert opened(paged).read_all().to_pylist() == opened(whole).read_all().to_pylist()
    else:
        assert paged == whole


def test_events_can_be_asked_for_by_kind_and_from_a_point_on(service: Serving, sortie: str) -> None:
    turns = service.http.get(f"/v1/sorties/{sortie}/events?kind=spin.turn&kind=spin.started").json()["events"]
    assert {e["kind"] for e in turns} == {"spin.turn", "spin.started"}
    with_commas = service.http.get(f"/v1/sorties/{sortie}/events?kind=spin.turn, spin.started").json()["events"]
    assert with_commas == turns
    every = service.http.get(f"/v1/sorties/{sortie}/events").json()
    assert service.http.get(f"/v1/sorties/{sortie}/events?after=&kind=").json() == every
    after = service.http.get(f"/v1/sorties/{sortie}/events", params={"after": turns[0]["sequence"]}).json()["events"]
    assert after[0]["sequence"] == turns[0]["sequence"] + 1
    assert service.http.get(f"/v1/sorties/{sortie}/events?kind=nonsense").status_code == 422


async def stream(base: str, sortie: str, count: int, last: str | None = None) -> list[tuple[str, dict[str, Any]]]:
    """`count` events of the stream with their ids."""
    headers = {"Accept": "text/event-stream", **({"Last-Event-ID": last} if last else {})}
    got: list[tuple[str, dict[str, Any]]] = []
    async with (
        httpx.AsyncClient(base_url=base, timeout=20.0, trust_env=False) as http,
        http.stream("GET", f"/v1/sorties/{sortie}/events", headers=headers) as answer,
    ):
        assert answer.headers["content-type"].startswith("text/event-stream")
        identity = ""
        async for line in answer.aiter_lines():
            if line.startswith("id: "):
                identity = line[4:]
            elif line.startswith("data: "):
                got.append((identity, orjson.loads(line[6:])))
                if len(got) == count:
                    return got
    return got


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("application/json, text/event-stream;q=0.1", "application/json"),
        ("text/event-stream;q=0, */*", "application/json"),
        ("text/csv, text/event-stream", "text/csv; charset=utf-8"),
        ("text/event-stream, application/json", "text/event-stream; charset=utf-8"),
        ("application/json;q=0.5, text/event-stream", "text/event-stream; charset=utf-8"),
        ("application/vnd.apache.arrow.file", "application/vnd.apache.arrow.file"),
    ],
)
def test_what_is_asked_for_first_is_sent(service: Serving, sortie: str, accept: str, kind: str) -> None:
    with service.http.stream("GET", f"/v1/sorties/{sortie}/events", headers={"accept": accept}) as answer:
        assert (answer.status_code, answer.headers["content-type"]) == (200, kind)


def test_a_stream_of_a_run_that_there_is_none_of_is_refused(service: Serving, sortie: str) -> None:
    stream = {"accept": "text/event-stream"}
    assert service.http.get(f"/v1/sorties/{sortie}/events?run=other", headers=stream).status_code == 404
    with service.http.stream(
        "GET", f"/v1/sorties/{sortie}/events", headers={**stream, "last-event-id": ""}
    ) as from_the_start:
        assert next(line for line in from_the_start.iter_lines() if line.startswith("id: ")).endswith("/0")


async def test_the_stream_resumes_after_the_last_event_seen(service: Serving, sortie: str) -> None:
    whole = service.http.get(f"/v1/sorties/{sortie}/events").json()["events"]
    first = await stream(service.base, sortie, 10)
    rest = await stream(service.base, sortie, len(whole) - 10, last=first[-1][0])
    assert [event for _, event in first + rest] == whole


def test_a_listener_that_goes_while_it_catches_up_leaves_nothing_behind(service: Serving, sortie: str) -> None:
    ports = service.app.state.services.ports

    async def first_and_gone() -> int:
        stream = aiter(EventFeed(ports, sortie, after=-1))
        _, sequence, _ = await anext(stream)
        await stream.aclose()
        return sequence

    assert asyncio.run_coroutine_threadsafe(first_and_gone(), service.loop).result(timeout=30.0) == 0


async def test_the_stream_goes_on_while_frames_come(service: Serving) -> None:
    name = flown(service, f"stream-{next(NAMES)}", upto=700)
    before = service.http.get(f"/v1/sorties/{name}/events").json()["events"]
    listening = asyncio.create_task(stream(service.base, name, len(before) + 5))
    await asyncio.to_thread(send, service, name, 1, frames().slice(700, len(frames())))
    got = await listening
    assert [e["sequence"] for _, e in got] == list(range(len(before) + 5))


async def test_the_live_socket_says_a_state_at_once_and_every_event(service: Serving) -> None:
    name = service.sortie(f"live-{next(NAMES)}", **PATIENT)
    events: list[int] = []
    states: list[dict[str, Any]] = []
    async with Client(service.base) as client:
        over = False
        sending: asyncio.Task[None] | None = None
        async for message in client.live(name):
            if message["type"] == "state":
                states.append(message)
            elif message["type"] == "event":
                events.append(message["event"]["sequence"])
                over = over or message["event"]["kind"] == "recovered"
            if sending is None:
                assert message["type"] == "state"
                assert message["state"]["link"] == "none yet"
                sending = asyncio.create_task(asyncio.to_thread(_send_all, service, name))
            if over and any("strip" in s for s in states):
                break
        assert sending is not None
        await sending
        told = await client.events(name)
    assert events == [e["sequence"] for e in told][: len(events)]
    with_strip = next(s for s in states if "strip" in s)
    assert set(with_strip["strip"]) >= {"time_ns", "roll_rate_dps", "altitude_ft"}
    newest = states[-1]["state"]
    assert {"server_ns", "received_ns", "data_age_s", "data_age_limit_s", "origin", "control"} <= set(newest)


def _send_all(service: Serving, name: str) -> None:
    block = frames()
    for sequence, start in enumerate(range(0, len(block), 25)):
        send(service, name, sequence, block.slice(start, min(start + 25, len(block))))


async def test_a_watcher_that_does_not_read_loses_states_and_no_event(service: Serving) -> None:
    name = service.sortie(f"slow-{next(NAMES)}", **PATIENT)
    async with Client(service.base) as client, client.socket(f"/v1/sorties/{name}/live") as socket:
        await socket.recv()
        await asyncio.to_thread(_send_all, service, name)  # read nothing meanwhile
        told = await client.events(name)
        got: list[int] = []
        while len(got) < len(told):
            message = orjson.loads(await asyncio.wait_for(socket.recv(), 20.0))
            if message["type"] == "event":
                got.append(message["event"]["sequence"])
    assert got == [e["sequence"] for e in told]


async def test_calls_not_heard_are_shown_until_a_browser_reports_them(service: Serving) -> None:
    name = flown(service, f"sound-{next(NAMES)}")
    spoken = {"caution", "recover", "chute", "abandon"}
    async with Client(service.base) as client:
        calls = [e["sequence"] for e in await client.events(name, kinds=["call"]) if e["data"]["call"] in spoken]
        assert calls
        async with client.socket(f"/v1/sorties/{name}/live") as socket:
            late = await _until(socket, lambda state: set(state["calls_not_sounded"]) == set(calls))
            assert late["sound_armed"] == 0
            await socket.send(orjson.dumps({"type": "sound", "armed": True, "volume": 0.8}).decode())
            for sequence in calls:
                said = {"type": "sounded", "sequence": sequence, "latency_ms": 42.0}
                await socket.send(orjson.dumps(said).decode())
            await socket.send("nonsense")
            heard = await _until(socket, lambda state: state["calls_not_sounded"] == [])
            assert heard["sound_armed"] == 1
        audit = await client.audit(name)
    assert [r["data"]["sequence"] for r in audit if r["action"] == "sounded"] == calls


async def _until(socket: Any, wanted: Any) -> dict[str, Any]:
    async with asyncio.timeout(20.0):
        while True:
            message = orjson.loads(await socket.recv())
            if message["type"] == "state" and wanted(message["state"]):
                state: dict[str, Any] = message["state"]
                return state


async def test_an_unknown_sortie_has_no_live_socket(service: Serving) -> None:
    async with Client(service.base) as client:
        with pytest.raises(ServiceError) as refused:
            async with client.socket("/v1/sorties/nobody/live"):
                pass
    assert refused.value.status == 404
