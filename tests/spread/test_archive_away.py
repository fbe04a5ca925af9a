"""The database goes in the middle of a flight: frames are taken, calls come, whoever was let in stays let in."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
import msgspec
import orjson
import pytest
from tests.servers.processes import NatsServer, PostgresServer
from tests.spread.flying import MID_SPIN, Flight, assert_same_events, looking
from tests.spread.parts import fleet, wait_ready
from tests.waiting import until
from websockets.asyncio.client import ClientConnection, connect

from spinfloor.api.auth import COOKIE
from spinfloor.client import encode_batch

pytestmark = [pytest.mark.servers, pytest.mark.timeout(240)]

FIRST = "first." + "s3cret" * 5


def opened(base: str, path: str, **headers: str) -> connect:
    return connect(base.replace("http", "ws", 1) + path, proxy=None, additional_headers=headers)


def acked(answer: str | bytes) -> int:
    assert isinstance(answer, bytes)
    return int(msgspec.msgpack.decode(answer)["acked"])


async def turns_heard(socket: ClientConnection) -> int:
    """Waits for the spin's end; the number of events until then."""
    heard = 0
    async for message in socket:
        told: dict[str, Any] = orjson.loads(message)
        if told["type"] == "event":
            heard += 1
            if told["event"]["kind"] == "spin.ended":
                break
    return heard


async def test_a_flight_goes_on_without_the_archive(nats_server: NatsServer, own_postgres: PostgresServer) -> None:
    with fleet(nats_server.url, own_postgres.database("away"), "away") as parts:
        ingest, screen = (
            parts.start(name, "--host", "0.0.0.0", SPINFLOOR_FIRST_TOKEN=FIRST) for name in ("ingest", "screen")
        )
        await wait_ready(ingest, screen, parts.start("detect"))
        bearer = {"Authorization": f"Bearer {FIRST}"}
        flight = Flight(ingest.base, "flown", headers=bearer)
        await flight.create()
        await flight.send(0, MID_SPIN)
        async with httpx.AsyncClient(base_url=screen.base, timeout=30.0, trust_env=False) as http:
            cookie = {"Cookie": f"{COOKIE}={(await http.post('/v1/session', json={'token': FIRST})).cookies[COOKIE]}"}
            http.cookies.clear()
            async with opened(screen.base, "/v1/sorties/flown/live?after=-1", **cookie) as live:
                assert orjson.loads(await live.recv())["type"] == "state"
            await asyncio.to_thread(own_postgres.stop)

            async with opened(screen.base, "/v1/sorties/flown/live?after=-1", **cookie) as live:
                listening = asyncio.create_task(turns_heard(live))
                await flight.send(MID_SPIN, MID_SPIN + 5)  # each batch asks who sends it
                async with opened(ingest.base, "/v1/sorties/flown/frames", **bearer) as frames:
                    await frames.send(encode_batch("nose-boom", MID_SPIN + 5, flight.batches[MID_SPIN + 5]))
                    assert acked(await frames.recv()) == MID_SPIN + 5
                await flight.send(MID_SPIN + 6)
                assert await asyncio.wait_for(listening, 60.0) > 5
            assert (await http.get("/v1/sorties/flown/events", headers=bearer)).status_code == 200
            refused = await http.post("/v1/sorties", params={"id": "another"}, json={}, headers=bearer)
            assert (refused.status_code, refused.json()["code"]) != (500, "defect")
            unknown = await http.get("/v1/sorties", headers={"Authorization": "Bearer nobody.knows"})
            assert unknown.status_code == 503
            assert int(unknown.headers["Retry-After"]) >= 1
            assert "archive database" in unknown.json()["detail"]

            await asyncio.to_thread(own_postgres.start)

            async def back() -> bool:
                return (await http.get("/v1/sorties", headers=bearer)).status_code == 200

            await until(back, seconds=40.0, what="the archive's return")
        async with looking(parts) as ports:
            await assert_same_events(ports, "flown")

            async def archived() -> bool:
                return (await ports.frames.extent("flown")).frames == sum(len(one) for one in flight.batches)

            await until(archived, seconds=40.0, what="the rest in the archive")
        await flight.close()
