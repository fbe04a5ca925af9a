"""The live socket against browsers that say nonsense, say too much, or are gone without a word."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import orjson
import pytest
import websockets
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.serving_thread import ROOMY, Serving, serving
from tests.waiting import wait_for
from websockets.sync.client import ClientConnection, connect

NAMES = itertools.count()
RECEIVE_S = 60.0


def open_socket(service: Serving, sortie: str, query: str = "") -> ClientConnection:
    return connect(f"{service.base.replace('http', 'ws')}/v1/sorties/{sortie}/live{query}", proxy=None)


@pytest.fixture
def sortie(service: Serving) -> str:
    return service.sortie(f"live-{next(NAMES)}")


@pytest.fixture
def socket(service: Serving, sortie: str) -> Iterator[ClientConnection]:
    with open_socket(service, sortie) as opened:
        yield opened


def told(socket: ClientConnection, kind: str) -> dict[str, Any]:
    """The next message of a kind; states come all the time."""
    while True:
        message: dict[str, Any] = orjson.loads(socket.recv(timeout=RECEIVE_S))
        if message["type"] == kind:
            return message


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(message=st.one_of(st.text(max_size=200), st.binary(max_size=200)))
def test_anything_at_all_is_told_as_not_understood(socket: ClientConnection, message: str | bytes) -> None:
    socket.send(message)
    assert told(socket, "error")["detail"].startswith("Expected a message of type")


@pytest.mark.parametrize(
    ("path", "status", "code"),
    [
        ("/v1/sorties/{}/live?after=soon", 422, "bad-request"),
        ("/v1/sorties/{}/live?after=-2", 422, "bad-request"),
        ("/v1/sorties/a.b/live", 422, "bad-request"),
        ("/v1/sorties/nobody/live", 404, "unknown-sortie"),
        ("/v1/sorties/{}/events", 404, "unknown-path"),
        ("/v1/nothing", 404, "unknown-path"),
        ("/", 404, "unknown-path"),
    ],
)
def test_an_address_without_a_socket_is_refused_with_a_problem(
    service: Serving, sortie: str, path: str, status: int, code: str
) -> None:
    with pytest.raises(websockets.InvalidStatus) as refused:
        connect(service.base.replace("http", "ws") + path.format(sortie), proxy=None)
    problem = orjson.loads(refused.value.response.body or b"{}")
    assert (refused.value.response.status_code, problem["code"]) == (status, code)
    assert problem["detail"].endswith(".")


NONSENSE = [
    "[" * 1_000_000,
    '{"type":' * 200_000,
    '{"type":"sounded","sequence":123456789012345678901234567890}',
    '{"type":"sounded","sequence":-1}',
    '{"type":"sounded","sequence":1.5}',
    '{"type":"sounded","sequence":1,"latency_ms":"soon"}',
    '{"type":"sounded"}',
    '{"type":"sound","armed":"yes"}',
    '{"type":"sound","armed":true,"volume":1e999}',
    '{"type":"control","action":7}',
    '{"type":"control","action":"grab"}',
    '{"type":"control","action":"take","name":"\\ud800"}',
    '{"type":"other"}',
    "null",
    "{}",
]


@pytest.mark.parametrize("text", NONSENSE, ids=range(len(NONSENSE)))
def test_wrong_types_are_told_and_the_socket_goes_on(socket: ClientConnection, text: str) -> None:
    socket.send(text)
    assert told(socket, "error")["detail"].startswith("Expected a message of type")
    socket.send('{"type":"sound","armed":true}')
    while told(socket, "state")["state"].get("sound_armed") != 1:
        pass


def test_odd_names_of_a_holder_are_shown_cut(socket: ClientConnection) -> None:
    socket.send(orjson.dumps({"type": "control", "action": "take", "name": "\x00<b>" + "x" * 500}).decode())
    while (holder := told(socket, "state")["state"].get("control", {}).get("holder")) is None:
        pass
    assert holder == ("\x00<b>" + "x" * 500)[:80]


@pytest.mark.parametrize("query", ["?after=x", "?after=99999999999999999999", "?after=-2", "?after=%00"])
def test_a_wrong_place_to_begin_is_refused_before_the_socket_opens(service: Serving, sortie: str, query: str) -> None:
    with pytest.raises(websockets.InvalidStatus) as refused:
        open_socket(service, sortie, query)
    assert refused.value.response.status_code in (403, 422)


def test_a_flood_from_one_browser_is_slowed_and_another_is_not(tmp_path: Path) -> None:
    slow = replace(ROOMY, messages_per_s=0.1, message_burst=10.0)  # all of the flood would take over eight minutes
    with serving(tmp_path, slow) as running:
        name = running.sortie("flooded")
        with open_socket(running, name) as flood, open_socket(running, name) as calm:
            for n in range(60):
                flood.send(f'{{"type":"sounded","sequence":{n}}}')
            calm.send('{"type":"control","action":"take","name":"calm"}')
            while told(calm, "state")["state"].get("control", {}).get("holder") != "calm":
                pass

            def heard() -> list[str]:
                return [r["action"] for r in running.http.get(f"/v1/sorties/{name}/audit").json()["records"]]

            wait_for(lambda: "control" in heard(), seconds=60.0, what="the record of who took control")
            actions = heard()
    assert actions.count("control") == 1
    assert actions.count("sounded") < 60


def test_sockets_from_one_address_are_counted(tmp_path: Path) -> None:
    with serving(tmp_path, replace(ROOMY, max_sockets_per_client=2)) as running:
        name = running.sortie("many")
        with open_socket(running, name), open_socket(running, name):
            with pytest.raises(websockets.InvalidStatus) as refused:
                open_socket(running, name)
            assert refused.value.response.status_code == 429
            problem = orjson.loads(refused.value.response.body or b"")
            assert problem["code"] == "too-many-connections"
            assert running.http.get(f"/v1/sorties/{name}").status_code == 200
