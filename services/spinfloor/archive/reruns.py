"""Reprocessing: sorties through the detector that is here, with other settings or beliefs, as runs of their own.

The flown run stays as it is and stays in force; a rerun that says the same is not stored a second time. Many sorties
are worked on at once, on the bench's worker processes, and the flights under way do not wait for them.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import structlog

from spinfloor.archive.bench import Bench, journalled
from spinfloor.archive.export import versions
from spinfloor.archive.flown import beliefs_in_force, run_events
from spinfloor.archive.rerun_model import NewRerun, merged
from spinfloor.archive.rerun_worker import Start
from spinfloor.archive.run_differences import run_differences
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.events import Event
from spinfloor.core.plan.load import plan_from, plan_to_data
from spinfloor.core.plan.model import Plan
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import EventDivergedError
from spinfloor.ports.events import RERUN_PREFIX
from spinfloor.ports.sorties import SortieKind, SortieRecord

JOBS_AT_WORK: Final = 8
JOBS_KEPT: Final = 64
SORTIES_AT_MOST: Final = 100_000
NAMES_TRIED: Final = 100

log = structlog.get_logger("spinfloor.archive")


class RerunError(SpinfloorError):
    """A rerun that cannot be begun."""

    code = "bad-rerun"
    http_status = 422


class UnknownRerunError(SpinfloorError):
    """No rerun of that name in this process."""

    code = "unknown-rerun"
    http_status = 404


class TooManyRerunsError(SpinfloorError):
    """Enough is being reprocessed already."""

    code = "too-many-reruns"
    http_status = 429


@dataclass(slots=True)
class SortieProgress:
    """One sortie of a job. state: waiting | running | done | failed | not done; the rest is known once it is done."""

    sortie: str
    frames: int
    state: str = "waiting"
    frames_done: int = 0
    flown: str | None = None
    run: str | None = None
    same: bool | None = None
    complete: bool | None = None
    spins_changed: int | None = None
    calls_changed: int | None = None
    problem: str | None = None

    def as_record(self) -> dict[str, Any]:
        """Plain fields."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


@dataclass(slots=True)
class Job:
    """What was asked for and how far it has got."""

    id: str
    asked: NewRerun
    sorties: list[SortieProgress]
    started_ns: int
    ended_ns: int | None = None
    cancelled: bool = False
    task: asyncio.Task[None] | None = field(default=None, repr=False)

    def as_record(self) -> dict[str, Any]:
        """For the answer. state: running | done | cancelled."""
        state = "running" if self.ended_ns is None else "cancelled" if self.cancelled else "done"
        return {
            "id": self.id, "state": state, "started_ns": self.started_ns, "ended_ns": self.ended_ns,
            "plan": self.asked.plan, "beliefs": self.asked.beliefs, "by": self.asked.by,
            "frames": sum(one.frames for one in self.sorties),
            "frames_done": sum(one.frames_done for one in self.sorties),
            "sorties_done": sum(one.state in ("done", "failed") for one in self.sorties),
            "sorties": [one.as_record() for one in self.sorties],
        }  # fmt: skip


class Reruns:
    """The jobs of a process, newest last."""

    def __init__(self, ports: Ports, bench: Bench) -> None:
        self._ports = ports
        self._bench = bench
        self._jobs: dict[str, Job] = {}
        self._room = asyncio.Semaphore(bench.workers + 1)  # one more, so that a worker never waits for the store

    @property
    def working(self) -> int:
        """Jobs at work."""
        return sum(job.ended_ns is None for job in self._jobs.values())

    @property
    def waiting(self) -> int:
        """Sorties of those that are not done yet."""
        at_work = (job for job in self._jobs.values() if job.ended_ns is None)
        return sum(one.state in ("waiting", "running") for job in at_work for one in job.sorties)

    def all(self) -> list[Job]:
        """Jobs at work and the last that have ended."""
        return list(self._jobs.values())

    def get(self, job: str) -> Job:
        """One by id. Raises UnknownRerunError."""
        if job not in self._jobs:
            raise UnknownRerunError(
                expected="the id of a rerun of this process", got=f"the unknown id {job!r}", now="nothing was done"
            )
        return self._jobs[job]

    async def start(self, asked: NewRerun) -> Job:
        """Begin. Raises UnknownSortieError, PlanError when the changed plan is none, RerunError, TooManyRerunsError."""
        if self.working >= JOBS_AT_WORK:
            raise TooManyRerunsError(
                expected=f"at most {JOBS_AT_WORK} reruns at once", got="one more", now="wait for one, or end one"
            )
        records = await self._chosen(asked)
        if not records:
            raise RerunError(expected="sorties to reprocess", got="none that fit", now="nothing was begun")
        self._changed(asked, records[0])
        progress = [SortieProgress(r.id, (await self._ports.frames.extent(r.id)).frames) for r in records]
        job = Job(secrets.token_hex(4), asked, progress, self._ports.clock.wall_ns())
        self._jobs[job.id] = job
        self._forget()
        job.task = asyncio.create_task(self._work(job, records), name=f"rerun-{job.id}")
        return job

    async def cancel(self, job: str) -> Job:
        """End it; runs that are done already stay. Raises UnknownRerunError."""
        found = self.get(job)
        if found.task is not None and not found.task.done():
            found.cancelled = True
            found.task.cancel()
            await asyncio.gather(found.task, return_exceptions=True)
        return found

    async def close(self) -> None:
        """End all."""
        for job in list(self._jobs):
            await self.cancel(job)

    def _forget(self) -> None:
        ended = [job.id for job in self._jobs.values() if job.ended_ns is not None]
        for job in ended[: max(0, len(self._jobs) - JOBS_KEPT)]:
            del self._jobs[job]

    async def _chosen(self, asked: NewRerun) -> list[SortieRecord]:
        if asked.sorties is not None:
            return [await self._ports.sorties.get(sortie) for sortie in dict.fromkeys(asked.sorties)]
        found = await self._ports.sorties.list_all(
            limit=SORTIES_AT_MOST, aircraft=asked.aircraft, kind=SortieKind.FLIGHT
        )
        return found[::-1]

    def _changed(self, asked: NewRerun, record: SortieRecord) -> Plan:
        """The sortie's plan with the changes. Raises PlanError with every fault."""
        return plan_from(merged(record.plan, asked.plan))

    # -- at work --------------------------------------------------------------------------------------------------

    async def _work(self, job: Job, records: Sequence[SortieRecord]) -> None:
        try:
            async with asyncio.TaskGroup() as group:
                for record, progress in zip(records, job.sorties, strict=True):
                    await self._room.acquire()
                    group.create_task(self._one(job, record, progress))
        finally:
            for one in job.sorties:
                one.state = "not done" if one.state in ("waiting", "running") else one.state
            job.ended_ns = self._ports.clock.wall_ns()

    async def _one(self, job: Job, record: SortieRecord, progress: SortieProgress) -> None:
        progress.state = "running"
        try:
            await self._rerun(job.asked, record, progress)
            progress.state = "done"
        except SpinfloorError as error:
            progress.state, progress.problem = "failed", error.sentence
        # One sortie's trouble must not end the programme's others; it is told by name.
        except Exception as error:
            log.exception("rerun failed", sortie=record.id)
            progress.state, progress.problem = (
                "failed",
                f"A defect of spinfloor; it was logged ({type(error).__name__}).",
            )
        finally:
            self._room.release()

    async def _rerun(self, asked: NewRerun, record: SortieRecord, progress: SortieProgress) -> None:
        plan = self._changed(asked, record)
        start = Start(record.id, plan_to_data(plan), await self._beliefs(asked, record, plan))
        newest = await self._ports.inputs.newest_offset(record.id)

        def told(frames: int) -> None:
            progress.frames_done = frames

        made = await self._bench.make(start, journalled(self._ports, record.id, up_to=newest), told=told)
        flown_run = await self._ports.events.current_run(record.id)
        flown = await run_events(self._ports, record.id, run=flown_run) if flown_run is not None else []
        differences = run_differences(flown, made.events, record.plan)
        progress.flown = flown_run
        progress.same = bool(differences["same"]) and flown_run is not None
        progress.complete = await self._ports.inputs.newest_offset(record.id) == newest
        progress.spins_changed = len({one["spin"] for one in differences["spins"]})
        progress.calls_changed = len(differences["calls"])
        progress.run = flown_run if progress.same else await self._stored(record.id, made.run, made.events)
        if not progress.same:
            await self._note(record.id, progress, asked)

    async def _beliefs(self, asked: NewRerun, record: SortieRecord, plan: Plan) -> Mapping[str, Any] | None:
        if asked.beliefs == "priors":
            return None
        if asked.beliefs == "now":
            beliefs, _ = await beliefs_in_force(self._ports, record.aircraft, plan)
            return None if beliefs is None else beliefs.as_json()
        return record.beliefs

    async def _stored(self, sortie: str, run: str, events: Sequence[Event]) -> str:
        """Under its own name; where other events stand under it (other words, a detector changed in place), the next."""
        for number in range(1, NAMES_TRIED):
            name = f"{RERUN_PREFIX}{run}" + (f".{number}" if number > 1 else "")
            try:
                await self._ports.events.add_rerun(sortie, name, [replace(event, run=name) for event in events])
            except EventDivergedError:
                continue
            return name
        raise RerunError(
            expected=f"fewer than {NAMES_TRIED} different reruns under the name {run}", got="one more",
            now="it was not stored",
        )  # fmt: skip

    async def _note(self, sortie: str, progress: SortieProgress, asked: NewRerun) -> None:
        about: dict[str, Any] = {
            "at_ns": self._ports.clock.wall_ns(), "by": asked.by, "plan": asked.plan, "beliefs": asked.beliefs,
            "flown": progress.flown, "complete": progress.complete, "made_with": versions(),
        }  # fmt: skip
        await self._ports.sorties.note(sortie, {f"rerun:{progress.run}": about})
