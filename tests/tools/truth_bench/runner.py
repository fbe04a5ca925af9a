"""Which flights meet which degradations, and the work of one process."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from tests.tools.truth_bench.score import Score, run, score
from tests.truth import catalogue, kinematic, library, shared
from tests.truth.degrade import DEGRADATIONS, degraded
from tests.truth.flight import Flight
from tests.truth.keep import kept
from tests.truth.rotary import flights as rotary
from tests.truth.situations import build

CLEAN = "none, 100 Hz"


@dataclass(frozen=True)
class Job:
    """One flight by source, situation and seed; `degradations` for both column sets."""

    source: str
    situation: str
    seed: int
    degradations: tuple[str, ...]


BUILDERS = {"ours": build, "kinematic": kinematic.build, "jsbsim": library.build, rotary.SOURCE: rotary.build}


def every_flight() -> list[tuple[str, str, int]]:
    """(source, situation, seed) of all flights of the benchmark."""
    out = [("ours", situation, seed) for situation, seed in catalogue.entries()]
    out += [("kinematic", situation, seed) for situation, seed in kinematic.entries()]
    out += [("jsbsim", situation, seed) for situation, seed in library.entries()]
    out += [(rotary.SOURCE, situation, seed) for situation, seed in rotary.entries()]
    return out + [("shared", f.name, f.seed) for f in shared.flights()]


def fly(source: str, situation: str, seed: int) -> Flight:
    """One flight, kept from an earlier run where there was one."""
    if source == "shared":
        return next(f for f in shared.flights() if f.name == situation)
    return kept(source, situation, seed, BUILDERS[source])


def unseen_flights(first_seed: int) -> list[tuple[str, str, int]]:
    """(source, situation, seed) of flights beyond the benchmark's own, from `first_seed` on."""
    out = [("ours", situation, seed) for situation, seed in catalogue.unseen(first_seed)]
    return out + [(rotary.SOURCE, situation, seed) for situation, seed in rotary.found(first_seed)]


def jobs(
    faults_each: int | None, every: int = 1, only: str = "", flights: list[tuple[str, str, int]] | None = None
) -> list[Job]:
    """Each flight clean and with `faults_each` degradations that rotate through the list (None: all of them)."""
    names = [n for n in DEGRADATIONS if n != CLEAN]
    out = []
    for i, (source, situation, seed) in enumerate(f for f in flights or every_flight() if only in f"{f[0]} {f[1]}"):
        if i % every and source != "shared":
            continue
        if faults_each is None:
            chosen = names
        else:
            first = zlib.crc32(f"{source}{situation}{seed}".encode()) % len(names)
            step = 7  # coprime with the number of degradations: neighbours differ in kind
            chosen = [names[(first + k * step) % len(names)] for k in range(faults_each)]
        out.append(Job(source, situation, seed, (CLEAN, *chosen)))
    return out


def work(job: Job) -> list[Score]:
    """All runs of one flight."""
    flight = fly(job.source, job.situation, job.seed)
    out = []
    for name in job.degradations:
        for five in (False, True):
            record = degraded(flight, name, five=five)
            out.append(score(flight, record, run(flight, record), five, name))
    return out


def run_all(todo: list[Job], processes: int) -> Iterator[Score]:
    """Scores of every job, in order."""
    if processes <= 1:
        for job in todo:
            yield from work(job)
        return
    with ProcessPoolExecutor(processes) as pool:
        for scores in pool.map(work, todo, chunksize=4):
            yield from scores
