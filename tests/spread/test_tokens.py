"""Tokens and browser sessions across the parts: made at one, taken at another, revoked and refused everywhere."""

from __future__ import annotations

import httpx
import pytest
from tests.servers.processes import NatsServer, PostgresServer
from tests.spread.parts import fleet, wait_ready

from spinfloor.api.auth import COOKIE

pytestmark = [pytest.mark.servers, pytest.mark.timeout(240)]

FIRST = "first." + "s3cret" * 5


async def test_a_token_revoked_at_one_part_counts_at_no_other(
    nats_server: NatsServer, postgres_server: PostgresServer
) -> None:
    with fleet(nats_server.url, postgres_server.database("tokens"), "tokens") as parts:
        ingest, screen = (
            parts.start(n, "--host", "0.0.0.0", SPINFLOOR_FIRST_TOKEN=FIRST) for n in ("ingest", "screen")
        )
        await wait_ready(ingest, screen)
        control = {"Authorization": f"Bearer {FIRST}"}
        async with httpx.AsyncClient(trust_env=False, timeout=20.0) as http:

            async def listed(base: str, secret: str) -> int:
                answer = await http.get(f"{base}/v1/sorties", headers={"Authorization": f"Bearer {secret}"})
                return answer.status_code

            assert (await http.get(f"{ingest.base}/v1/sorties")).status_code == 401
            body = {"name": "wall screen", "role": "watch"}
            token = (await http.post(f"{ingest.base}/v1/tokens", json=body, headers=control)).json()
            assert [await listed(base, token["secret"]) for base in (ingest.base, screen.base)] == [200, 200]
            renewed = await http.post(
                f"{screen.base}/v1/tokens/{token['id']}/rotation", json={"grace_s": 0}, headers=control
            )
            newer = renewed.json()
            assert [await listed(base, token["secret"]) for base in (ingest.base, screen.base)] == [401, 401]
            assert [await listed(base, newer["secret"]) for base in (ingest.base, screen.base)] == [200, 200]
            opened = await http.post(f"{screen.base}/v1/session", json={"token": newer["secret"]})
            cookie = {"Cookie": f"{COOKIE}={opened.cookies[COOKIE]}"}
            http.cookies.clear()

            async def seen(base: str) -> int:
                return (await http.get(f"{base}/v1/sorties", headers=cookie)).status_code

            assert [await seen(base) for base in (ingest.base, screen.base)] == [200, 200]
            gone = await http.delete(f"{ingest.base}/v1/tokens/{newer['id']}", headers=control)
            assert gone.status_code == 200
            assert [await listed(base, newer["secret"]) for base in (ingest.base, screen.base)] == [401, 401]
            assert [await seen(base) for base in (ingest.base, screen.base)] == [401, 401]
        for part in (ingest, screen):
            for secret in (FIRST, token["secret"], newer["secret"]):
                assert secret.partition(".")[2] not in part.text()
