"""The frames socket against senders that mean ill or are broken: every message answered, nothing acknowledged lost."""

from __future__ import annotations

import asyncio
import itertools
import re
import struct
import threading
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import msgspec
import orjson
import pytest
import websockets
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.serving_thread import Serving, frames
from tests.waiting import wait_for
from websockets.sync.client import ClientConnection, connect

from spinfloor.client import encode_batch

NAMES = itertools.count()
RECEIVE_S = 60.0


def open_socket(service: Serving, path: str) -> ClientConnection:
    return connect(service.base.replace("http", "ws") + path, proxy=None, max_size=None)


@pytest.fixture
def sortie(service: Serving) -> str:
    return service.sortie(f"sent-{next(NAMES)}")


@pytest.fixture
def socket(service: Serving, sortie: str) -> Iterator[ClientConnection]:
    with open_socket(service, f"/v1/sorties/{sortie}/frames") as opened:
        yield opened


def good(sequence: int, rows: int = 10) -> bytes:
    return encode_batch("s", sequence, frames().slice(10 * sequence, 10 * sequence + rows))


def answer(socket: ClientConnection, within_s: float = RECEIVE_S) -> dict[str, Any]:
    """The answer, in the form of what was sent: text is JSON, binary is MessagePack."""
    got = socket.recv(timeout=within_s)
    record: dict[str, Any] = orjson.loads(got) if isinstance(got, str) else msgspec.msgpack.decode(got)
    return record


def refused(socket: ClientConnection, message: str | bytes) -> str:
    """Send something bad; the sentence it is refused with."""
    socket.send(message)
    problem = answer(socket)["error"]
    assert problem["status"] == 422, problem
    assert problem["detail"].endswith(".")
    sentence: str = problem["detail"]
    return sentence


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(message=st.one_of(st.text(max_size=200), st.binary(max_size=200)))
def test_anything_at_all_is_refused_and_the_socket_goes_on(socket: ClientConnection, message: str | bytes) -> None:
    refused(socket, message)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    value=st.recursive(
        st.none() | st.booleans() | st.integers(-(2**63), 2**64 - 1) | st.floats() | st.text(max_size=4),
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
        max_leaves=8,
    ),
    place=st.sampled_from(["source", "sequence", "columns", "yaw_rate_dps", "whole"]),
)
def test_values_of_the_wrong_kind_are_refused(socket: ClientConnection, value: Any, place: str) -> None:
    batch: Any = {"source": "s", "sequence": 0, "columns": {"time_ns": [1], "yaw_rate_dps": [1.0]}}
    if place == "whole":
        batch = value
    elif place == "yaw_rate_dps":
        batch["columns"][place] = value
    else:
        batch[place] = value
    refused(socket, msgspec.msgpack.encode(batch))  # columns are missing in any case


# Heads that promise more than there is, and nesting: the specification of MessagePack, formats array 32, map 32, bin 32,
# str 32, ext 32, fixarray.
BOMBS = {
    "array of 2^32 - 1": b"\xdd\xff\xff\xff\xff",
    "map of 2^32 - 1": b"\xdf\xff\xff\xff\xff",
    "bytes of 2^32 - 1": b"\xc6\xff\xff\xff\xff",
    "text of 2^32 - 1": b"\xdb\xff\xff\xff\xff",
    "extension of 2^32 - 1": b"\xc9\xff\xff\xff\xff\x01",
    "nesting 500,000 deep": b"\x91" * 500_000 + b"\xc0",
    "maps 500,000 deep": b"\x81\xa1a" * 500_000 + b"\xc0",
    "a column of 2^32 - 1": b"\x83\xa6source\xa1s\xa8sequence\x00\xa7columns\x81\xa7time_ns\xdd\xff\xff\xff\xff",
    "100,000 empty columns": b"\x83\xa6source\xa1s\xa8sequence\x00\xa7columns"
    + struct.pack(">BI", 0xDF, 100_000)
    + b"".join(b"\xa6%06d\x90" % n for n in range(100_000)),
    "trailing bytes": good(0) + b"\x00",
    "cut short": good(0)[:-1],
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_bombs_are_refused_and_a_good_batch_behind_them_is_taken(socket: ClientConnection, bomb: str) -> None:
    assert "Expected" in refused(socket, BOMBS[bomb])
    socket.send(good(0))
    assert answer(socket)["acked"] == 0


@pytest.mark.parametrize("text", ["[" * 1_000_000, '{"a":' * 300_000, "1" * 1_000_000, '"' + "\\u0000" * 100_000])
def test_endless_json_is_refused(socket: ClientConnection, text: str) -> None:
    assert len(refused(socket, text)) < 1_100


def test_a_message_beyond_the_limit_ends_that_socket_only(service: Serving, sortie: str) -> None:
    with open_socket(service, f"/v1/sorties/{sortie}/frames") as other:
        for message in (bytes(5 << 20), (bytes(1 << 20) for _ in range(5))):  # whole, and in fragments
            with open_socket(service, f"/v1/sorties/{sortie}/frames") as socket:
                with suppress(websockets.ConnectionClosed):
                    socket.send(message)
                with pytest.raises(websockets.ConnectionClosed):
                    socket.recv(timeout=RECEIVE_S)
        other.send(good(0))
        assert answer(other)["accepted"] == 10
    assert service.http.get(f"/v1/sorties/{sortie}").json()["frames"]["count"] == 10


def test_a_flood_that_reads_no_answers_loses_nothing_and_holds_up_nobody(service: Serving, sortie: str) -> None:
    calm = service.sortie(f"calm-{next(NAMES)}")
    count = 300
    with open_socket(service, f"/v1/sorties/{sortie}/frames") as socket:
        for sequence in range(count):
            socket.send(encode_batch("s", sequence, frames().slice(sequence, sequence + 1)))
            if sequence == count // 2:
                body = encode_batch("s", 0, frames().slice(0, 5))
                headers = {"Content-Type": "application/msgpack"}
                taken = service.http.post(f"/v1/sorties/{calm}/frames", content=body, headers=headers)
                assert taken.status_code == 200
        assert [answer(socket)["acked"] for _ in range(count)] == list(range(count))
    assert service.http.get(f"/v1/sorties/{sortie}").json()["frames"]["count"] == count


def test_a_sender_that_vanishes_keeps_what_was_acknowledged(service: Serving, sortie: str) -> None:
    with open_socket(service, f"/v1/sorties/{sortie}/frames") as socket:
        for sequence in range(20):
            socket.send(good(sequence))
        acked = [answer(socket)["acked"] for _ in range(10)]
        socket.socket.shutdown(2)  # no goodbye
    assert acked == list(range(10))
    last = service.http.get(f"/v1/sorties/{sortie}/sources").json()["sources"][0]["last_sequence"]
    assert last >= 9
    with open_socket(service, f"/v1/sorties/{sortie}/frames") as socket:
        for sequence in range(20):  # it can't know which of the others were taken, so it sends them again
            socket.send(good(sequence))
        told = [answer(socket) for _ in range(20)]
    assert [t["acked"] for t in told] == list(range(20))
    assert service.http.get(f"/v1/sorties/{sortie}").json()["frames"]["count"] == 200


def test_batches_without_an_answer_and_open_connections_are_gauged(service: Serving) -> None:
    name = service.sortie("gauged")

    def gauge(what: str) -> float:
        line = re.search(rf"^spinfloor_{what} (\S+)$", service.http.get("/metrics").text, re.MULTILINE)
        assert line, what
        return float(line[1])

    writer = service.app.state.services.ports.inputs._writer
    busy = threading.Event()
    before = gauge("connections")
    with connect(f"{service.base.replace('http', 'ws')}/v1/sorties/{name}/frames", proxy=None) as link:
        asyncio.run_coroutine_threadsafe(writer.submit("disk", lambda _: busy.wait(30.0)), service.loop)
        for sequence in range(5):
            link.send(encode_batch("s", sequence, frames().slice(10 * sequence, 10 * sequence + 10)))
        wait_for(lambda: gauge("batches_unanswered") == 5.0, seconds=20.0, what="five batches without an answer")
        assert gauge("connections") == before + 1.0
        busy.set()
        assert [answer(link, 60.0)["acked"] for _ in range(5)] == list(range(5))
        assert gauge("batches_unanswered") == 0.0
