"""Peers below HTTP: half-open, half-said, endless, broken frames. Each is let go; the service answers others meanwhile."""

from __future__ import annotations

import base64
import itertools
import os
import socket
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import replace
from typing import Any

import pytest
from tests.serving_thread import ROOMY, Serving, serving
from tests.waiting import wait_for

NAMES = itertools.count()
HURRIED = replace(
    ROOMY, headers_within_s=0.5, body_within_s=0.5, ping_every_s=0.3, keep_alive_s=0.5, max_connections=20
)
RECEIVE_S = 20.0


@pytest.fixture(scope="module")
def hurried(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """A service that waits for nobody for long."""
    with serving(tmp_path_factory.mktemp("hurried"), HURRIED) as running:
        yield running


def peer(service: Serving) -> socket.socket:
    opened = socket.create_connection(("127.0.0.1", int(service.base.rpartition(":")[2])))
    opened.settimeout(RECEIVE_S)
    return opened


def everything(opened: socket.socket) -> bytes:
    """What comes until the other side lets go."""
    got = b""
    with suppress(ConnectionResetError):
        while part := opened.recv(65536):
            got += part
    return got


HALVES = {
    "nothing": b"",
    "half a line": b"GET /v1/sor",
    "half the headers": b"GET /v1/sorties HTTP/1.1\r\nHost: 127.0.0.1\r\nX-A: ",
    "a TLS hello": bytes.fromhex("16030100c8010000c40303") + bytes(20),
    "line feeds": b"\r\n" * 50,
}


@pytest.mark.parametrize("half", HALVES)
def test_a_peer_that_does_not_go_on_is_let_go(hurried: Serving, half: str) -> None:
    with closing(peer(hurried)) as opened:
        opened.sendall(HALVES[half])
        got = everything(opened)
        assert got == b"" or got.startswith(b"HTTP/1.1 400")
    assert hurried.http.get("/healthz").status_code == 200


def test_a_second_request_on_a_kept_connection_has_its_time_too(hurried: Serving) -> None:
    with closing(peer(hurried)) as opened:
        opened.sendall(b"GET /healthz HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\nGET /heal")
        assert everything(opened).count(b"HTTP/1.1 200") == 1


@pytest.mark.parametrize("path", ["/v1/sorties", "/v1/sorties/x/frames", "/v1/session", "/v1/replays"])
@pytest.mark.parametrize("head", ["Content-Length: 1000\r\n\r\n{", 'Transfer-Encoding: chunked\r\n\r\n5\r\n{"a":\r\n'])
def test_a_body_that_does_not_come_is_a_408(hurried: Serving, path: str, head: str) -> None:
    with closing(peer(hurried)) as opened:
        opened.sendall(f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n{head}".encode())
        got = everything(opened)
    assert got.startswith(b"HTTP/1.1 408"), got
    assert b"application/problem+json" in got
    assert b'"code":"too-slow"' in got


WIRE = {
    "no version": b"GET /\r\n\r\n",
    "a wrong version": b"GET / HTTP/9.9\r\nHost: 127.0.0.1\r\n\r\n",
    "a wrong length": b"POST /v1/sorties HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: -5\r\n\r\n",
    "two lengths": b"POST /v1/sorties HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 1\r\nContent-Length: 2\r\n\r\nab",
    "length and chunks": b"POST /v1/sorties HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 4\r\n"
    b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    "a broken chunk": b"POST /v1/sorties HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
    "an unknown method": b"FLY /v1 HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    "a huge address": b"GET /v1/" + b"a" * 100_000 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
    "a huge header": b"GET /v1 HTTP/1.1\r\nHost: 127.0.0.1\r\nX-A: " + b"a" * 300_000 + b"\r\n\r\n",
    "many headers": b"GET /v1 HTTP/1.1\r\nHost: 127.0.0.1\r\n" + b"X-A: a\r\n" * 20_000 + b"\r\n",
    "a broken origin": b"POST /v1/sorties HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://[\r\nContent-Length: 0\r\n\r\n",
    "a broken host": b"GET /v1 HTTP/1.1\r\nHost: [::1\r\n\r\n",
    "no host": b"GET /v1 HTTP/1.1\r\n\r\n",
    "random bytes": bytes(range(256)) * 20,
    "an absolute address": b"GET http://attacker.example/v1 HTTP/1.1\r\nHost: attacker.example\r\n\r\n",
    "an old upgrade": b"GET /v1 HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: h2c\r\n\r\n",
}


@pytest.mark.parametrize("what", WIRE)
def test_broken_http_is_refused_and_nothing_stops(hurried: Serving, what: str) -> None:
    hurried.loop.call_soon_threadsafe(hurried.loop.set_exception_handler, lambda _, fault: faults.append(fault))
    faults: list[dict[str, Any]] = []
    with closing(peer(hurried)) as opened:
        with suppress(BrokenPipeError, ConnectionResetError):
            opened.sendall(WIRE[what])
        got = everything(opened)
    assert not got.startswith(b"HTTP/1.1 5"), got
    assert b"Traceback" not in got
    if "headers" in what or "huge" in what:
        assert got.startswith(b"HTTP/1.1 431")
        assert b'"code":"headers-too-large"' in got
    if got.startswith(b"HTTP/1.1 4"):
        assert b"content-type: application/problem+json" in got
    assert faults == []
    assert hurried.http.get("/healthz").status_code == 200


def shaken_hands(service: Serving, sortie: str, kind: str = "live") -> socket.socket:
    """A WebSocket opened by hand."""
    opened = peer(service)
    key = base64.b64encode(os.urandom(16)).decode()
    opened.sendall(
        f"GET /v1/sorties/{sortie}/{kind} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
        f"Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: {key}\r\n\r\n".encode()
    )
    got = b""
    while b"\r\n\r\n" not in got:
        got += opened.recv(65536)
    assert got.startswith(b"HTTP/1.1 101")
    return opened


def masked(first: int, payload: bytes) -> bytes:
    """A client's frame with a mask of zeros (RFC 6455, 5.2)."""
    assert len(payload) < 126
    return bytes([first, 0x80 | len(payload)]) + bytes(4) + payload


# RFC 6455: 5.1 (a client masks), 5.2 (reserved bits and opcodes), 5.4 (fragments), 5.5 (control frames), 8.1 (UTF-8).
BROKEN = {
    "not masked": b"\x81\x05hello",
    "a reserved bit": masked(0xC1, b"x"),
    "an unknown opcode": masked(0x83, b"x"),
    "text that is not UTF-8": masked(0x81, b"\xff\xfe"),
    "a fragment of nothing": masked(0x80, b"x"),
    "a ping in fragments": masked(0x09, b"x"),
    "a close with one byte": masked(0x88, b"x"),
    "a length beyond all bounds": b"\x82\xff" + b"\xff" * 8 + bytes(4),
    "random bytes": bytes(range(1, 200)),
}


@pytest.mark.parametrize("kind", ["live", "frames"])
@pytest.mark.parametrize("what", BROKEN)
def test_broken_frames_end_the_socket_and_nothing_else(hurried: Serving, what: str, kind: str) -> None:
    sortie = hurried.sortie(f"broken-{next(NAMES)}")
    with closing(shaken_hands(hurried, sortie, kind)) as opened:
        opened.sendall(BROKEN[what])
        everything(opened)
    assert hurried.http.get(f"/v1/sorties/{sortie}").status_code == 200


@pytest.mark.parametrize("kind", ["live", "frames"])
def test_a_message_announced_as_too_big_is_not_waited_for(hurried: Serving, kind: str) -> None:
    sortie = hurried.sortie(f"big-{next(NAMES)}")
    with closing(shaken_hands(hurried, sortie, kind)) as opened:
        opened.sendall(b"\x82\xff" + (5 << 20).to_bytes(8, "big") + bytes(4))
        assert b"\x88" in (got := everything(opened))
    assert (1009).to_bytes(2, "big") in got  # RFC 6455, 7.4.1: too big to process


def watchers(service: Serving) -> float:
    lines = service.http.get("/metrics").text.splitlines()
    return float(next(line for line in lines if line.startswith("spinfloor_watchers ")).split()[1])


def test_a_watcher_that_is_gone_without_a_word_is_noticed(hurried: Serving) -> None:
    wait_for(lambda: watchers(hurried) == 0.0, seconds=RECEIVE_S, what="the others' end")
    sortie = hurried.sortie(f"gone-{next(NAMES)}")
    with closing(shaken_hands(hurried, sortie)):  # it never answers a ping
        wait_for(lambda: watchers(hurried) == 1.0, seconds=RECEIVE_S, what="its coming")
        wait_for(lambda: watchers(hurried) == 0.0, seconds=RECEIVE_S, what="its end")


def test_more_connections_than_there_is_room_for_are_turned_away_and_room_is_made_again(hurried: Serving) -> None:
    opened = [peer(hurried) for _ in range(3 * HURRIED.max_connections)]
    for one in opened:
        everything(one)  # all are let go: some at once, some when their time is over
        one.close()
    assert hurried.http.get("/healthz").status_code == 200
