"""Who gets in: hosts, origins, tokens, roles, sessions, addresses."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest
import websockets
from tests.serving_thread import ROOMY, Serving, frames, plan_data, serving
from websockets.sync.client import connect

from spinfloor.api.auth import make_token
from spinfloor.api.settings import UnsafeAddressError, check_address, is_loopback
from spinfloor.client import encode_batch
from spinfloor.ports.tokens import Role

NOW_NS = time.time_ns()
SECRETS = {role: make_token(f"the {role.value} link", role, now_ns=NOW_NS) for role in Role}
EXPIRED = make_token("old", Role.CONTROL, now_ns=NOW_NS - 10_000_000_000, lasts_s=1.0)
_revoked = make_token("revoked", Role.CONTROL, now_ns=NOW_NS)
REVOKED = (_revoked[0], replace(_revoked[1], revoked_ns=NOW_NS))
MSGPACK = {"Content-Type": "application/msgpack"}


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """A service as it runs on another address than loopback: with tokens."""
    records = tuple(record for _, record in (*SECRETS.values(), EXPIRED, REVOKED))
    settings = replace(ROOMY, tokens_required=True, allowed_hosts=())
    with serving(tmp_path_factory.mktemp("secrets", numbered=False), settings, records) as running:
        made = running.http.post("/v1/sorties?id=s1", json=plan_data(), headers=bearer(Role.CONTROL))
        assert made.status_code == 201
        yield running


def bearer(role: Role) -> dict[str, str]:
    return {"Authorization": f"Bearer {SECRETS[role][0]}"}


def test_only_loopback_may_be_open() -> None:
    for host in ("127.0.0.1", "::1", "localhost", "127.9.9.9"):
        assert is_loopback(host)
        check_address(host, tokens=0)
    for host in ("0.0.0.0", "::", "192.0.2.7", "test.example"):
        with pytest.raises(UnsafeAddressError, match="spinfloor token add"):
            check_address(host, tokens=0)
        check_address(host, tokens=1)


def test_a_page_elsewhere_can_neither_name_itself_nor_send(service: Serving) -> None:
    wrong_host = service.http.get("/v1/sorties", headers={"Host": "attacker.example"})
    assert (wrong_host.status_code, wrong_host.json()["code"]) == (403, "wrong-host")
    wrong_origin = service.http.post("/v1/sorties", json=plan_data(), headers={"Origin": "http://attacker.example"})
    assert (wrong_origin.status_code, wrong_origin.json()["code"]) == (403, "wrong-origin")
    own = service.http.post("/v1/sorties?id=own", json=plan_data(), headers={"Origin": service.base})
    assert own.status_code == 201


def test_a_socket_from_another_origin_is_refused(service: Serving) -> None:
    service.sortie("origin")
    address = service.base.replace("http", "ws") + "/v1/sorties/origin/live"
    with pytest.raises(websockets.InvalidStatus) as refused:
        connect(address, origin=websockets.Origin("http://attacker.example"), proxy=None)
    assert refused.value.response.status_code == 403
    with connect(address, origin=websockets.Origin(service.base), proxy=None) as socket:
        assert '"type":"state"' in str(socket.recv(timeout=20))


# method, path, body, and which roles may
RIGHTS: list[tuple[str, str, Any, set[Role]]] = [
    ("GET", "/v1/sorties", None, {Role.WATCH, Role.CONTROL}),
    ("GET", "/v1/sorties/s1/events", None, {Role.WATCH, Role.CONTROL}),
    ("GET", "/metrics", None, {Role.WATCH, Role.CONTROL}),
    ("POST", "/v1/sorties?id=s1", plan_data(), {Role.CONTROL}),
    ("POST", "/v1/sorties/s1/marks", {"kind": "note", "key": "k"}, {Role.CONTROL}),
    ("PATCH", "/v1/sorties/s1/floors", {"floors": {"recovery_ft": 6000}, "by": "x"}, {Role.CONTROL}),
    ("POST", "/v1/replays", {"recording": "r02-left-right-pair", "paused": True}, {Role.CONTROL}),
]


@pytest.mark.parametrize("right", RIGHTS, ids=lambda right: f"{right[0]} {right[1]}")
@pytest.mark.parametrize("role", list(Role))
def test_each_role_may_what_it_may(guarded: Serving, role: Role, right: tuple[str, str, Any, set[Role]]) -> None:
    method, path, body, roles = right
    answer = guarded.http.request(method, path, json=body, headers=bearer(role))
    assert (answer.status_code < 300) == (role in roles), answer.text
    if role not in roles:
        assert (answer.status_code, answer.json()["code"]) == (403, "role")


def test_a_source_may_send_and_a_watcher_may_not(guarded: Serving) -> None:
    body = encode_batch("s", 0, frames().slice(0, 5))
    for role, status in ((Role.WATCH, 403), (Role.SOURCE, 200)):
        answer = guarded.http.post("/v1/sorties/s1/frames", content=body, headers={**MSGPACK, **bearer(role)})
        assert answer.status_code == status


@pytest.mark.parametrize(
    "secret",
    ["", "nonsense", "a.b", EXPIRED[0], REVOKED[0], SECRETS[Role.WATCH][0][:-1]],
    ids=["none", "nonsense", "two parts", "expired", "revoked", "cut short"],
)
def test_no_token_and_bad_tokens_get_nothing(guarded: Serving, secret: str) -> None:
    headers = {"Authorization": f"Bearer {secret}"} if secret else {}
    for method, path in (("GET", "/v1/sorties"), ("POST", "/v1/sorties/s1/frames"), ("DELETE", "/v1/replays/x")):
        answer = guarded.http.request(method, path, headers=headers)
        assert (answer.status_code, answer.json()["code"]) == (401, "who-are-you")
    with pytest.raises(websockets.InvalidStatus) as refused:
        connect(guarded.base.replace("http", "ws") + "/v1/sorties/s1/live", additional_headers=headers, proxy=None)
    assert refused.value.response.status_code == 401


def test_a_browser_session_needs_its_second_secret_for_changes(guarded: Serving) -> None:
    with httpx.Client(base_url=guarded.base, trust_env=False) as browser:
        assert browser.post("/v1/session", json={"token": "x.y"}).status_code == 401
        opened = browser.post("/v1/session", json={"token": SECRETS[Role.CONTROL][0]})
        cookie = opened.headers["set-cookie"].lower()
        assert "httponly" in cookie
        assert "samesite=strict" in cookie
        assert browser.get("/v1/sorties").status_code == 200
        mark = {"kind": "note", "key": "session"}
        assert browser.post("/v1/sorties/s1/marks", json=mark).json()["code"] == "csrf"
        csrf = {"X-CSRF-Token": opened.json()["csrf"]}
        assert browser.post("/v1/sorties/s1/marks", json=mark, headers=csrf).status_code == 201
        assert browser.delete("/v1/session").status_code == 200
        assert browser.get("/v1/sorties").status_code == 401


def test_secrets_are_not_on_disk(guarded: Serving, tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.getbasetemp() / "secrets"
    stored = b"".join(path.read_bytes() for path in folder.iterdir() if path.is_file())
    for secret, record in SECRETS.values():
        assert secret.partition(".")[2].encode() not in stored
        assert record.hash_hex.encode() in stored


def test_too_many_requests_and_connections_are_told_to_wait(tmp_path: Path) -> None:
    few = replace(ROOMY, requests_per_s=1.0, request_burst=5.0)
    with serving(tmp_path, few) as running:
        answers = [running.http.get("/v1") for _ in range(8)]
        assert [a.status_code for a in answers] == [200] * 5 + [429] * 3
        assert int(answers[-1].headers["retry-after"]) >= 1


def test_a_flooding_source_is_told_to_wait_and_another_sortie_is_not(tmp_path: Path) -> None:
    narrow = replace(ROOMY, bytes_per_s=1000.0, burst_bytes=20_000.0)
    with serving(tmp_path, narrow) as running:
        flood, calm = running.sortie("flood"), running.sortie("calm")
        statuses = [
            running.http.post(
                f"/v1/sorties/{flood}/frames", content=encode_batch("s", n, frames().slice(0, 50)), headers=MSGPACK
            ).status_code
            for n in range(8)
        ]
        assert statuses[0] == 200
        assert statuses[-1] == 429
        body = encode_batch("s", 0, frames().slice(0, 50))
        assert running.http.post(f"/v1/sorties/{calm}/frames", content=body, headers=MSGPACK).status_code == 200
