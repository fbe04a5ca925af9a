"""The runs of a sortie and what differs between two of them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Query

from spinfloor.api.names import SortieId
from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.services import AsWatch, Use
from spinfloor.archive.flown import run_events
from spinfloor.archive.run_differences import run_differences
from spinfloor.ports.events import RERUN_PREFIX

router = APIRouter(prefix="/v1", tags=["runs"])

RunName = Annotated[str, Query(min_length=1, max_length=80)]


def unknown_run(runs: Sequence[str], run: str, *, now: str) -> ProblemError:
    """404: the sortie has `runs` and not this one."""
    return ProblemError(
        404, "unknown-run", expected="one of the runs " + (", ".join(runs) or "(none yet)"), got=repr(run), now=now
    )


@router.get("/sorties/{sortie}/runs")
async def list_runs(sortie: SortieId, services: Use, _caller: AsWatch) -> Json:
    """Every run of the sortie, oldest first, and the one in force. Reruns come last; `about` says what they are."""
    record = await services.ports.sorties.get(sortie)
    runs = await services.ports.events.runs(sortie)
    counts = [
        {
            "run": run,
            "events": await services.ports.events.next_sequence(sortie, run),
            "rerun": run.startswith(RERUN_PREFIX),
            "about": record.notes.get(f"rerun:{run}"),
        }
        for run in runs
    ]
    return Json({"runs": counts, "current": await services.ports.events.current_run(sortie)})


@router.get("/sorties/{sortie}/run-differences")
async def get_differences(sortie: SortieId, services: Use, _caller: AsWatch, before: RunName, after: RunName) -> Json:
    """Spins and calls that differ between two runs."""
    record = await services.ports.sorties.get(sortie)
    runs = await services.ports.events.runs(sortie)
    for run in (before, after):
        if run not in runs:
            raise unknown_run(runs, run, now="nothing was compared")
    first = await run_events(services.ports, sortie, run=before)
    second = await run_events(services.ports, sortie, run=after)
    return Json({"before": before, "after": after, **run_differences(first, second, record.plan)})
