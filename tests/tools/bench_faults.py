"""Kill the service 200 times (or --kills N) at random moments and count what is lost, doubled or changed.

The one process of `spinfloor serve`; with --spread a detector, the ingest part, the message server or the database, whichever
it hits. Prints one line per sortie and a last line with the sums; ends with 1 when anything is wrong.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
import time
from pathlib import Path

from tests.durability.rounds import Outcome, Rounds, patient
from tests.durability.spread_rounds import SpreadRounds
from tests.places import RECORDINGS

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording

RECORDING = RECORDINGS / "r02-left-right-pair"
KILLS_PER_SORTIE = 10


async def run(kills: int, seed: int, folder: Path) -> list[Outcome]:
    """Sorties until there have been enough kills."""
    plan = patient(load_plan(RECORDING.with_suffix(".plan.yaml")))
    rounds = Rounds(folder, plan, read_recording(RECORDING.with_suffix(".parquet")).block, seed=seed)
    outcomes: dict[str, Outcome] = {}
    async with rounds.running():
        while (left := kills - sum(o.kills for o in outcomes.values())) > 0:
            name = f"kill-{len(outcomes)}"
            outcome = outcomes[name] = await rounds.sortie(name, kills=min(KILLS_PER_SORTIE, left))
            print(f"{name}: {outcome.kills} kills, {outcome.batches} batches, {outcome.events} events", flush=True)
        for name, outcome in outcomes.items():
            await rounds.against_disk(name, outcome)
    return list(outcomes.values())


async def run_spread(kills: int, seed: int) -> list[Outcome]:
    """The same with the parts apart."""
    plan = patient(load_plan(RECORDING.with_suffix(".plan.yaml")))
    rounds = SpreadRounds(plan, read_recording(RECORDING.with_suffix(".parquet")).block, seed=seed)
    outcomes: list[Outcome] = []
    async with rounds.running():
        while (left := kills - sum(o.kills for o in outcomes)) > 0:
            name = f"kill-{len(outcomes)}"
            outcomes.append(outcome := await rounds.sortie(name, kills=min(KILLS_PER_SORTIE, left)))
            killed = ", ".join(f"{what} {times}" for what, times in sorted(rounds.killed.items()))
            print(
                f"{name}: {outcome.kills} kills, {outcome.batches} batches, {outcome.events} events, {outcome.ticks} ticks"
                f" (so far {killed}){''.join('; ' + sentence for sentence in outcome.wrong)}",
                flush=True,
            )
    return outcomes


def main() -> None:
    """Entry."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--spread", action="store_true", help="the parts apart, on servers of their own")
    given = parser.parse_args()
    begun = time.monotonic()
    if given.spread:
        outcomes = asyncio.run(run_spread(given.kills, given.seed))
    else:
        with tempfile.TemporaryDirectory() as folder:
            outcomes = asyncio.run(run(given.kills, given.seed, Path(folder)))
    wrong = [sentence for outcome in outcomes for sentence in outcome.wrong]
    for sentence in wrong:
        print("WRONG:", sentence)
    print(
        f"{sum(o.kills for o in outcomes)} kills over {len(outcomes)} sorties, "
        f"{sum(o.batches for o in outcomes)} acknowledged batches, {sum(o.events for o in outcomes)} events, "
        f"{len(wrong)} faults, {time.monotonic() - begun:.0f} s"
    )
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
