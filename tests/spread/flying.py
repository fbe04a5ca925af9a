"""A flight sent batch by batch to the ingest part, and the events it must give."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import httpx
from tests.fed_again import fed_again
from tests.places import RECORDINGS
from tests.spread.parts import Fleet, Part
from tests.waiting import until

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.adapters.spread import open_spread
from spinfloor.client import encode_batch
from spinfloor.core.events import Event
from spinfloor.core.plan.load import plan_to_data
from spinfloor.detect.building import build_detector
from spinfloor.ports import FramesInput, Ports

RECORDING = RECORDINGS / "r01-first-turns.parquet"
ROWS = 10
MID_SPIN = 35  # the batch with the first whole turn of the first spin
SPIN_FRAMES = 600  # past the first recovery: the flight of the tests ends there


class Flight:
    """Sends in order, each batch until it is acknowledged."""

    def __init__(self, base: str, sortie: str, *, headers: dict[str, str] | None = None) -> None:
        self.sortie = sortie
        self._http = httpx.AsyncClient(base_url=base, timeout=10.0, trust_env=False, headers=headers)
        block = read_recording(RECORDING, None).block.slice(0, SPIN_FRAMES)
        self.batches = [block.slice(i, min(i + ROWS, len(block))) for i in range(0, len(block), ROWS)]

    async def create(self) -> None:
        """Make the sortie."""
        plan = plan_to_data(load_plan(RECORDING.with_name("r01-first-turns.plan.yaml")))
        answer = await self._http.post("/v1/sorties", params={"id": self.sortie}, json=plan)
        assert answer.status_code == 201, answer.text

    async def send(self, start: int, stop: int | None = None) -> None:
        """Send batches start to stop, each again until it is acknowledged; what is refused for good fails."""
        for sequence in range(start, len(self.batches) if stop is None else stop):
            body = encode_batch("nose-boom", sequence, self.batches[sequence])

            async def acknowledged(body: bytes = body) -> bool:
                try:
                    answer = await self._http.post(
                        f"/v1/sorties/{self.sortie}/frames",
                        content=body,
                        headers={"Content-Type": "application/msgpack"},
                    )
                except httpx.TransportError:
                    return False
                assert answer.status_code in (200, 429, 503), answer.text
                return answer.status_code == 200

            await until(acknowledged, seconds=40.0, what=f"acknowledgement of batch {sequence}")

    async def close(self) -> None:
        """End the connection."""
        await self._http.aclose()


@asynccontextmanager
async def looking(fleet: Fleet) -> AsyncIterator[Ports]:
    """The stores, for the test's own eyes."""
    environment = fleet.environment
    spread = await open_spread(
        nats_url=environment["SPINFLOOR_NATS_URL"],
        database_url=environment["SPINFLOOR_DATABASE_URL"],
        prefix=environment["SPINFLOOR_PREFIX"],
    )
    try:
        yield spread.ports
    finally:
        await spread.ports.close()


async def undisturbed(ports: Ports, sortie: str) -> list[Event]:
    """The events of one detector that is fed the whole input journal at once and never stopped."""
    detector = build_detector(await ports.sorties.get(sortie))
    events: list[Event] = []
    after = -1
    while entries := await ports.inputs.read(sortie, after=after):
        after = entries[-1].offset
        events += fed_again(detector, entries)
    return events


async def assert_same_events(ports: Ports, sortie: str, *, limit_s: float = 40.0) -> None:
    """The journal holds what an undisturbed detector says, event for event; both spins' ends among them."""

    async def journalled_all() -> bool:
        return len(await ports.events.read(sortie, limit=5000)) >= len(await undisturbed(ports, sortie))

    await until(journalled_all, seconds=limit_s, what=f"the last event of {sortie}")
    # A tick may have come in between the two readings; then there are more, and the shorter is a beginning of the longer.
    journal = [event.as_record() for event in await ports.events.read(sortie, limit=5000)]
    alone = [event.as_record() for event in await undisturbed(ports, sortie)]
    shorter = min(len(journal), len(alone))
    assert journal[:shorter] == alone[:shorter]
    assert {"spin.started", "spin.turn", "spin.ended"} <= {str(record["kind"]) for record in journal}
    frames = [e.input for e in await _all_inputs(ports, sortie) if isinstance(e.input, FramesInput)]
    assert [batch.sequence for batch in frames] == sorted({batch.sequence for batch in frames})


async def _all_inputs(ports: Ports, sortie: str) -> list[Any]:
    found: list[Any] = []
    while entries := await ports.inputs.read(sortie, after=found[-1].offset if found else -1):
        found += entries
    return found


def owns(part: Part, sortie: str) -> bool:
    """Whether the part has said that it took the sortie up."""
    for line in part.text().splitlines():
        if line.startswith("{"):
            record = json.loads(line)
            if record.get("event") == "detector resumed" and record.get("sortie") == sortie:
                return True
    return False


async def owner_of(parts: list[Part], sortie: str) -> Part:
    """The part that took the sortie up."""
    found: list[Part] = []

    async def one() -> bool:
        found[:] = [part for part in parts if owns(part, sortie)]
        return bool(found)

    await until(one, seconds=40.0, what=f"a detector for {sortie}")
    await asyncio.sleep(0)
    return found[0]
