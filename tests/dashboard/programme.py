"""A small flown programme in a running service, for the tests of the pages beside Watch."""

from __future__ import annotations

import asyncio
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from tests.dashboard.flying import RECORDING, plan
from tests.places import RECORDINGS
from tests.tools.running import RunningService

from spinfloor.adapters.recordings import read_recording
from spinfloor.client import Client

FLIGHT = "flight-1"
REHEARSAL = "rehearsal-1"
HIGH_FLOOR_FT = 11_500.0


def high_plan() -> dict[str, Any]:
    """The recording's plan with a floor above where its spins level off, and one card more."""
    content = plan()
    floors = {**content["floors"], "recovery_ft": HIGH_FLOOR_FT}
    more = {**content["cards"][-1], "id": "B9", "entry_altitude_ft": 19_000.0}
    return {**content, "floors": floors, "cards": [*content["cards"], more]}


def fly(service: RunningService) -> None:
    """One flight that ended below its floor twice, one rehearsal played to its end with data lost."""

    async def work() -> None:
        async with Client(service.base) as client:
            await client.create_sortie(high_plan(), sortie=FLIGHT)
            block = read_recording(RECORDINGS / f"{RECORDING}.parquet", None).block
            await client.send_frames(FLIGHT, "aircraft", 0, block)
            await client.state(FLIGHT)
            faults = [{"kind": "loss", "from_s": 8.0, "to_s": 12.0}]
            replay = await client.start_replay(RECORDING, sortie=REHEARSAL, paused=True, faults=faults)
            await client.mark(REHEARSAL, "note", data={"text": "ready"})
            await client.change_replay(replay["id"], position_s=replay["length_s"])
            await client.state(REHEARSAL)

    # Playwright's own loop runs in this thread; the client gets another.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, work()).result()
