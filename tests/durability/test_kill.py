"""kill -9 at random moments: nothing acknowledged is lost, no event is lost, doubled or changed."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.durability.rounds import Rounds, patient
from tests.places import RECORDINGS

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording

RECORDING = RECORDINGS / "r02-left-right-pair"


@pytest.fixture
def rounds(tmp_path: Path) -> Rounds:
    plan = load_plan(RECORDING.with_suffix(".plan.yaml"))
    return Rounds(tmp_path, patient(plan), read_recording(RECORDING.with_suffix(".parquet")).block, seed=20261125)


@pytest.mark.timeout(600)
async def test_a_server_killed_twenty_times_loses_nothing_and_says_nothing_twice(rounds: Rounds) -> None:
    kills = 0
    async with rounds.running():
        names: list[str] = []
        while kills < 20:
            names.append(f"kill-{len(names)}")
            outcome = await rounds.sortie(names[-1], kills=min(10, 20 - kills))
            assert outcome.wrong == []
            assert outcome.kills > 0
            kills += outcome.kills
        for name in names:
            await rounds.against_disk(name, outcome)
            assert outcome.wrong == []
    assert kills == 20


@pytest.mark.timeout(400)
async def test_killed_and_undisturbed_runs_give_the_same_events(rounds: Rounds) -> None:
    async with rounds.running():
        outcome = await rounds.sortie("same", kills=3)
        assert outcome.wrong == []
        await rounds.against_disk("same", outcome)
    assert outcome.wrong == []
    assert outcome.events == len(rounds.undisturbed("same"))
