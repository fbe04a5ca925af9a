"""Parts and servers killed at random while a source sends without waiting for answers; 200 of it: `make bench-faults`."""

from __future__ import annotations

import gc

import pytest
from tests.durability.rounds import patient
from tests.durability.spread_rounds import SpreadRounds
from tests.places import RECORDINGS

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording

pytestmark = [pytest.mark.servers, pytest.mark.timeout(400)]

RECORDING = RECORDINGS / "r02-left-right-pair"
KILLS = 5


# asyncio (CPython 3.11) closes no socket whose connecting is cancelled at the moment it succeeds; the garbage collector does.
@pytest.mark.filterwarnings(r"ignore:Exception ignored in. <socket\.socket:pytest.PytestUnraisableExceptionWarning")
async def test_killed_at_random_nothing_is_lost_doubled_or_out_of_order() -> None:
    plan = patient(load_plan(RECORDING.with_suffix(".plan.yaml")))
    rounds = SpreadRounds(plan, read_recording(RECORDING.with_suffix(".parquet")).block, seed=20261129)
    async with rounds.running():
        outcome = await rounds.sortie("killed", kills=KILLS)
    gc.collect()  # here, and not in whichever test comes next
    assert outcome.wrong == []
    assert outcome.kills > 0
