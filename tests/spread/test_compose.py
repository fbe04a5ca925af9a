"""docker-compose.yml: its commands, started as local processes on real servers, fly a flight through."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
import yaml
from tests.places import ROOT
from tests.servers.processes import NatsServer, PostgresServer
from tests.spread.flying import Flight, assert_same_events, looking
from tests.spread.parts import Fleet, Part, fleet, wait_ready
from tests.waiting import until

pytestmark = [pytest.mark.servers, pytest.mark.timeout(240)]

SECRET = "first." + "s3cret" * 5
PARTS = ("ingest", "detect", "screen")


def compose() -> dict[str, Any]:
    return dict(yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8")))


def local(command: list[str]) -> list[str]:
    """The command of a part with a port of the system's choice on the loopback address; everything else as it is."""
    assert command[0] == "spinfloor"
    changed = ["127.0.0.1" if word == "0.0.0.0" else word for word in command[1:]]
    changed[changed.index("--port") + 1] = "0"
    return changed


def test_no_secret_stands_in_the_file() -> None:
    services = compose()["services"]
    assert set(services) == {"nats", "postgres", *PARTS}
    for name in PARTS:
        for value in services[name]["environment"].values():
            assert re.search(r"\$\{SPINFLOOR_[A-Z_]+:\?", value), f"{name}: {value} has a secret without a variable"
    assert "${SPINFLOOR_POSTGRES_PASSWORD:?" in services["postgres"]["environment"]["POSTGRES_PASSWORD"]
    assert "sync_interval: always" in compose()["configs"]["nats"]["content"]
    assert all("ports" not in services[name] for name in ("nats", "postgres", "detect"))


@pytest.fixture
def started(nats_server: NatsServer, postgres_server: PostgresServer) -> Iterator[Fleet]:
    """Every part of the file, as often as it says."""
    with fleet(nats_server.url, postgres_server.database("compose"), "compose") as opened:
        given = {**opened.environment, "SPINFLOOR_FIRST_TOKEN": SECRET}
        for name in PARTS:
            service = compose()["services"][name]
            assert set(service["environment"]) | {"SPINFLOOR_PREFIX"} == set(given)
            for _ in range(service.get("deploy", {}).get("replicas", 1)):
                opened.parts.append(Part(local(service["command"]), given))
        yield opened


async def test_a_flight_goes_through_the_parts_of_the_file(started: Fleet) -> None:
    await wait_ready(*started.parts)
    ingest, screen = started.parts[0], started.parts[-1]
    flight = Flight(ingest.base, "composed")
    await flight.create()
    await flight.send(0)
    async with looking(started) as ports:
        await assert_same_events(ports, "composed")
    async with httpx.AsyncClient(base_url=screen.base, trust_env=False, timeout=20.0) as client:

        async def shown() -> bool:
            state = (await client.get("/v1/sorties/composed/state")).json()
            return bool(state["settled"]) and state["spin_ordinal"] == 1

        await until(shown, what="the state on the screen's side")

        async def archived() -> bool:
            sortie = (await client.get("/v1/sorties/composed")).json()
            return bool(sortie["frames"]["count"] == 600)

        await until(archived, what="all frames in the archive")
        assert (await client.get("/", follow_redirects=True)).status_code == 200
    for part in started.parts:
        assert SECRET not in part.text()
        assert "Traceback" not in part.text()
    await flight.close()
