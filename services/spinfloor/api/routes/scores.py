"""A recording with its plan, and the score sheet of a rehearsal."""

from __future__ import annotations

import asyncio
from typing import Annotated

from fastapi import APIRouter, Path

from spinfloor.api.names import SortieId
from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.services import AsWatch, Use
from spinfloor.archive.flown import run_events
from spinfloor.core.plan.load import plan_to_data
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.detect.building import plan_of
from spinfloor.ports.sorties import SortieKind
from spinfloor.replay.score import score, undisturbed

router = APIRouter(prefix="/v1", tags=["replays"])


@router.get("/recordings/{recording}")
async def get_recording(
    recording: Annotated[str, Path(min_length=1, max_length=120)], services: Use, _caller: AsWatch
) -> Json:
    """One recording with its plan (the built-in one, and `has_plan` false, where none lies beside it)."""
    entry, plan = await services.replays.recording(recording)
    return Json({**entry.as_record(), "plan": plan_to_data(plan)})


@router.get("/rehearsals/{sortie}/score")
async def get_score(sortie: SortieId, services: Use, _caller: AsWatch) -> Json:
    """Each call: when due, when made by the tool and by a person, the margin at that moment.

    `complete` is false while the recording has not been played to its end: what is not called yet shows as missed.
    """
    record = await services.ports.sorties.get(sortie)
    recording = record.notes.get("recording")
    if record.kind is not SortieKind.REHEARSAL or not isinstance(recording, str):
        raise ProblemError(
            422, "no-rehearsal", expected="a rehearsal made from a recording", got=f"the sortie {sortie}",
            now="nothing was scored",
        )  # fmt: skip
    await services.view.settle(sortie)
    turns = record.notes.get("crew_response_turns")
    block = await services.replays.frames_of(
        recording, plan_of(record), turns if isinstance(turns, int) and not isinstance(turns, bool) else 0
    )
    beliefs = None if record.beliefs is None else Beliefs.from_json(record.beliefs)
    due, track = await asyncio.to_thread(undisturbed, plan_of(record), beliefs, block, sortie)
    made = await run_events(services.ports, sortie)
    sheet = score(due, made, track, disturbed=bool(record.notes.get("faults")))
    extent = await services.ports.frames.extent(sortie)
    last_ns = int(block.time_ns[-1])
    return Json(
        {
            "sortie": sortie,
            "recording": recording,
            "recording_title": record.notes.get("recording_title"),
            "faults": record.notes.get("faults") or [],
            "crew_response_turns": turns or 0,
            "complete": extent.last_ns >= last_ns - 1_000_000_000,
            "start_ns": int(block.time_ns[0]),
            **sheet.as_record(),
        }
    )
