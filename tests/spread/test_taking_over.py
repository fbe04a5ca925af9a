"""A detector killed, frozen, or drained in the middle of a spin: another goes on, with the same events."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Iterator

import pytest
from tests.servers.processes import NatsServer, PostgresServer
from tests.spread.flying import MID_SPIN, Flight, assert_same_events, looking, owner_of, owns
from tests.spread.parts import Fleet, Part, fleet, wait_ready
from tests.waiting import until

pytestmark = [pytest.mark.servers, pytest.mark.timeout(240)]


@pytest.fixture(scope="module")
def parts(nats_server: NatsServer, postgres_server: PostgresServer) -> Iterator[Fleet]:
    """One ingest part and two detectors, for the whole file."""
    with fleet(nats_server.url, postgres_server.database("takeover"), "takeover") as opened:
        opened.start("ingest")
        opened.start("detect")
        opened.start("detect")
        yield opened


def detectors(parts: Fleet) -> list[Part]:
    return [part for part in parts.parts if part.arguments[0] == "detect" and part.process.poll() is None]


async def spinning(parts: Fleet, sortie: str) -> tuple[Flight, Part, Part]:
    """A flight in the middle of its first spin; the detector that has it and the one that stands by."""
    while len(detectors(parts)) < 2:
        parts.start("detect")
    await wait_ready(parts.parts[0], *detectors(parts))
    flight = Flight(parts.parts[0].base, sortie)
    await flight.create()
    await flight.send(0, MID_SPIN)
    owner = await owner_of(detectors(parts), sortie)
    other = next(part for part in detectors(parts) if part is not owner)
    return flight, owner, other


async def taken_over(part: Part, sortie: str) -> None:
    async def has_it() -> bool:
        return owns(part, sortie)

    await until(has_it, seconds=30.0, what=f"taking over {sortie}")


async def test_frozen_and_back_again(parts: Fleet) -> None:
    flight, owner, other = await spinning(parts, "frozen")
    owner.send(signal.SIGSTOP)
    await flight.send(MID_SPIN, MID_SPIN + 6)
    await taken_over(other, "frozen")
    owner.send(signal.SIGCONT)
    await flight.send(MID_SPIN + 6)

    async def stood_down() -> bool:
        return "lease" in owner.text()

    await until(stood_down, what="the former owner's standing down")
    async with looking(parts) as ports:
        await assert_same_events(ports, "frozen")
    assert "diverged" not in owner.text() + other.text()
    await flight.close()


async def test_killed(parts: Fleet) -> None:
    flight, owner, other = await spinning(parts, "killed")
    owner.end(signal.SIGKILL)
    await flight.send(MID_SPIN)
    await taken_over(other, "killed")
    async with looking(parts) as ports:
        await assert_same_events(ports, "killed")
    await flight.close()


async def test_upgraded(parts: Fleet) -> None:
    """The old process drains at its polite signal; its lease passes on at once, not after it has run out."""
    flight, owner, other = await spinning(parts, "upgraded")
    sending = asyncio.create_task(flight.send(MID_SPIN))
    await asyncio.to_thread(owner.end, signal.SIGTERM)
    await taken_over(other, "upgraded")
    await sending
    async with looking(parts) as ports:
        await assert_same_events(ports, "upgraded")
    await flight.close()
