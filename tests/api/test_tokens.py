"""Tokens made, exchanged and revoked while the service runs; what was let in with one is let go when it ends."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import httpx
import pytest
import websockets
from tests.api.test_security import MSGPACK, SECRETS, bearer
from tests.command_line import Run
from tests.places import RECORDINGS
from tests.serving_thread import NAME, ROOMY, Serving, frames, plan_data, serving
from websockets.sync.client import ClientConnection, connect

from spinfloor.client import encode_batch
from spinfloor.ports.tokens import Role

CONTROL_ID = SECRETS[Role.CONTROL][1].id


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    settings = replace(ROOMY, tokens_required=True, allowed_hosts=())
    records = tuple(record for _, record in SECRETS.values())
    with serving(tmp_path_factory.mktemp("tokens"), settings, records) as running:
        running.http.headers.update(bearer(Role.CONTROL))
        assert running.http.post("/v1/sorties?id=s1", json=plan_data()).status_code == 201
        yield running


def made(service: Serving, role: str, **more: Any) -> dict[str, Any]:
    answer = service.http.post("/v1/tokens", json={"name": f"a {role}", "role": role, **more})
    assert answer.status_code == 201, answer.text
    token: dict[str, Any] = answer.json()
    return token


def status_with(service: Serving, secret: str) -> int:
    return httpx.get(
        f"{service.base}/v1/sorties", headers={"Authorization": f"Bearer {secret}"}, trust_env=False
    ).status_code


def test_a_token_counts_from_its_making_to_its_revocation(guarded: Serving) -> None:
    token = made(guarded, "watch")
    assert status_with(guarded, token["secret"]) == 200
    revoked = guarded.http.delete(f"/v1/tokens/{token['id']}")
    assert revoked.json()["revoked_ns"] > 0
    assert status_with(guarded, token["secret"]) == 401
    again = guarded.http.delete(f"/v1/tokens/{token['id']}")
    assert (again.status_code, again.json()["code"]) == (404, "unknown-token")


def test_secrets_and_hashes_are_never_listed(guarded: Serving) -> None:
    token = made(guarded, "source")
    listed = guarded.http.get("/v1/tokens").text
    assert token["id"] in listed
    assert token["secret"].partition(".")[2] not in listed
    assert SECRETS[Role.WATCH][1].hash_hex not in listed


def test_an_exchanged_token_counts_for_its_grace_and_the_new_one_at_once(guarded: Serving) -> None:
    old = made(guarded, "watch", days=1.0)
    kept = guarded.http.post(f"/v1/tokens/{old['id']}/rotation", json={"grace_s": 60.0}).json()
    assert status_with(guarded, old["secret"]) == status_with(guarded, kept["secret"]) == 200
    assert (kept["name"], kept["role"], kept["instead_of"]) == (old["name"], old["role"], old["id"])
    assert abs(kept["expires_ns"] - old["expires_ns"]) < 1e6
    at_once = guarded.http.post(f"/v1/tokens/{kept['id']}/rotation", json={"grace_s": 0.0}).json()
    assert status_with(guarded, kept["secret"]) == 401
    assert status_with(guarded, at_once["secret"]) == 200


def test_a_time_that_is_no_number_makes_no_token(guarded: Serving) -> None:
    for days in (False, True, "1", None):
        refused = guarded.http.post("/v1/tokens", json={"name": "a link", "role": "watch", "days": days})
        assert (refused.status_code, refused.json()["code"]) == (422, "bad-request"), days


def test_a_source_sends_a_recording_with_its_own_token(guarded: Serving, run: Run) -> None:
    secret = made(guarded, "source")["secret"]
    assert guarded.http.post("/v1/sorties?id=linked", json=plan_data()).status_code == 201
    recording = str(RECORDINGS / f"{NAME}.parquet")
    for frames_taken in (f"{len(frames())} frames taken", " 0 frames taken"):
        done = run("send", recording, f"--to={guarded.base}", "--sortie=linked", "--speed=0", f"--token={secret}")
        assert done.exit_code == 0, done.stderr
        assert frames_taken in done.stderr
    for path in ("", "/state", "/events", "/frames"):
        answer = guarded.http.get(f"/v1/sorties/linked{path}", headers={"Authorization": f"Bearer {secret}"})
        assert answer.status_code == 403, path


def test_the_last_control_token_stays(guarded: Serving) -> None:
    refused = guarded.http.delete(f"/v1/tokens/{CONTROL_ID}")
    assert (refused.status_code, refused.json()["code"]) == (409, "last-control-token")
    other = made(guarded, "control")
    assert guarded.http.delete(f"/v1/tokens/{other['id']}").status_code == 200


@pytest.mark.parametrize("role", [Role.SOURCE, Role.WATCH])
def test_only_control_handles_tokens(guarded: Serving, role: Role) -> None:
    for method, path in (("GET", ""), ("POST", ""), ("DELETE", f"/{CONTROL_ID}"), ("POST", f"/{CONTROL_ID}/rotation")):
        answer = guarded.http.request(method, f"/v1/tokens{path}", json={}, headers=bearer(role))
        assert (answer.status_code, answer.json()["code"]) == (403, "role"), path


def test_open_sockets_of_a_revoked_token_are_let_go(guarded: Serving) -> None:
    watch, source = made(guarded, "watch"), made(guarded, "source")
    base = guarded.base.replace("http", "ws") + "/v1/sorties/s1"
    with (
        connect(f"{base}/live", additional_headers=_auth(watch), proxy=None) as screen,
        connect(f"{base}/frames", additional_headers=_auth(source), proxy=None) as link,
    ):
        link.send(encode_batch("s", 0, frames().slice(0, 5)))
        link.recv(timeout=20.0)
        for token in (watch, source):
            assert guarded.http.delete(f"/v1/tokens/{token['id']}").status_code == 200
        for socket in (screen, link):
            assert _code(socket) == 1008
    body = encode_batch("s", 1, frames().slice(5, 10))
    late = guarded.http.post("/v1/sorties/s1/frames", content=body, headers={**MSGPACK, **_auth(source)})
    assert late.status_code == 401
    assert guarded.http.get("/v1/sorties/s1").json()["frames"]["count"] == 5


def test_a_session_ends_with_its_token(guarded: Serving) -> None:
    token = made(guarded, "control")
    with httpx.Client(base_url=guarded.base, trust_env=False) as browser:
        assert browser.post("/v1/session", json={"token": token["secret"]}).status_code == 200
        assert browser.get("/v1/sorties").status_code == 200
        guarded.http.delete(f"/v1/tokens/{token['id']}")
        assert browser.get("/v1/sorties").status_code == 401


def _auth(token: dict[str, Any]) -> dict[str, str]:
    return {"Authorization": f"Bearer {token['secret']}"}


def _code(socket: ClientConnection) -> int:
    """What the socket is closed with, within 20 s; states may come before."""
    end = time.monotonic() + 20.0

    def read() -> None:
        while time.monotonic() < end:
            socket.recv(timeout=20.0)

    with pytest.raises(websockets.ConnectionClosed) as ended:
        read()
    assert ended.value.rcvd is not None
    return int(ended.value.rcvd.code)
