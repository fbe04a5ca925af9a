"""Browser sessions are kept: over a restart, in every tab, until they are over or their token is; only hashes on disk."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import httpx
from tests.api.test_security import SECRETS, bearer
from tests.serving_thread import ROOMY, Serving, plan_data, serving

from spinfloor.adapters.sqlite.store import DATABASE_NAME
from spinfloor.api.auth import COOKIE
from spinfloor.ports.tokens import Role

SECRET, RECORD = SECRETS[Role.CONTROL]
OTHER, OTHER_RECORD = SECRETS[Role.WATCH]


@contextmanager
def guarded(folder: Path) -> Iterator[Serving]:
    settings = replace(ROOMY, tokens_required=True, allowed_hosts=())
    with serving(folder, settings, (RECORD, OTHER_RECORD)) as running:
        yield running


def browser(service: Serving, cookie: str = "") -> httpx.Client:
    return httpx.Client(base_url=service.base, trust_env=False, cookies={COOKIE: cookie} if cookie else None)


def signed_in(service: Serving, secret: str = SECRET) -> tuple[str, str]:
    """(cookie, csrf)"""
    with browser(service) as one:
        opened = one.post("/v1/session", json={"token": secret})
        assert opened.status_code == 200
        return one.cookies[COOKIE], opened.json()["csrf"]


def test_a_session_outlives_a_restart_and_every_tab_may_make_changes(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with guarded(folder) as service:
        cookie, csrf = signed_in(service)
        ended, _ = signed_in(service)
        with browser(service, ended) as one:
            assert one.delete("/v1/session").status_code == 200
    stored = b"".join(path.read_bytes() for path in folder.iterdir() if path.is_file())
    assert cookie.encode() not in stored
    assert csrf.encode() not in stored
    with guarded(folder) as service:
        with browser(service, cookie) as one:
            told = one.get("/v1/session").json()
            assert (told["name"], told["role"], told["csrf"]) == (RECORD.name, "control", csrf)
            assert one.post("/v1/sorties?id=after", json=plan_data()).json()["code"] == "csrf"
            made = one.post("/v1/sorties?id=after", json=plan_data(), headers={"X-CSRF-Token": csrf})
            assert made.status_code == 201
        with browser(service, ended) as one:
            assert one.get("/v1/session").status_code == 401  # signed out before the restart


def test_a_session_ends_at_its_end_and_is_swept_at_the_next_signing_in(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with guarded(folder) as service, sqlite3.connect(folder / DATABASE_NAME, timeout=10.0) as database:
        cookie, _ = signed_in(service)
        with browser(service, cookie) as one:
            assert one.get("/v1/sorties").status_code == 200
            database.execute("UPDATE sessions SET expires_ns = created_ns")
            database.commit()
            assert one.get("/v1/sorties").status_code == 401
        signed_in(service, OTHER)
        assert database.execute("SELECT token_id FROM sessions").fetchall() == [(OTHER_RECORD.id,)]


def test_a_kept_session_ends_with_its_token_also_after_a_restart(tmp_path: Path) -> None:
    folder = tmp_path / "data"
    with guarded(folder) as service:
        cookie, _ = signed_in(service, OTHER)
        gone = service.http.delete(f"/v1/tokens/{OTHER_RECORD.id}", headers=bearer(Role.CONTROL))
        assert gone.status_code == 200
    revoked = replace(OTHER_RECORD, revoked_ns=gone.json()["revoked_ns"])
    settings = replace(ROOMY, tokens_required=True, allowed_hosts=())
    with serving(folder, settings, (RECORD, revoked)) as service, browser(service, cookie) as one:
        assert one.get("/v1/sorties").status_code == 401
