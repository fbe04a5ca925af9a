"""Replays: a recording played into a rehearsal sortie."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body

from spinfloor.api.names import Id
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, AsWatch, Use
from spinfloor.core.events import Json as JsonValue
from spinfloor.ports.audit import AuditRecord
from spinfloor.replay.model import NewReplay, ReplayPatch

router = APIRouter(prefix="/v1", tags=["replays"])


@router.get("/recordings")
async def list_recordings(services: Use, _caller: AsWatch) -> Json:
    """The recordings there are to rehearse with."""
    return Json({"recordings": [r.as_record() for r in await services.replays.recordings()]})


@router.get("/replays")
async def list_replays(services: Use, _caller: AsWatch) -> Json:
    """Replays that are playing, paused or at their end."""
    return Json({"replays": [r.as_record() for r in services.replays.all()]})


@router.post("/replays", status_code=201)
async def post_replay(services: Use, caller: AsControl, body: Annotated[NewReplay, Body()]) -> Json:
    """Make a rehearsal sortie and play a recording into it."""
    replay = await services.replays.start(body)
    now = services.ports.clock.wall_ns()
    data: dict[str, JsonValue] = {"recording": body.recording, "speed": body.speed}
    await services.ports.audit.add(AuditRecord(now, caller.name, "replay.started", replay.sortie, data))
    return Json(replay.as_record(), status_code=201, headers={"Location": f"/v1/replays/{replay.id}"})


@router.get("/replays/{replay}")
async def get_replay(replay: Id, services: Use, _caller: AsWatch) -> Json:
    """Where it stands. `sortie` changes when one seeks back: the sortie begins anew under the next name."""
    return Json(services.replays.get(replay).as_record())


@router.patch("/replays/{replay}")
async def patch_replay(replay: Id, services: Use, caller: AsControl, body: Annotated[ReplayPatch, Body()]) -> Json:
    """Speed, pause, seek, faults."""
    changed = await services.replays.change(replay, body)
    now = services.ports.clock.wall_ns()
    data = body.model_dump(mode="json", exclude_none=True)
    await services.ports.audit.add(AuditRecord(now, caller.name, "replay.changed", changed.sortie, data))
    return Json(changed.as_record())


@router.delete("/replays/{replay}")
async def delete_replay(replay: Id, services: Use, caller: AsControl) -> Json:
    """Stop playing; the rehearsal sortie and its events stay."""
    stopped = await services.replays.stop(replay)
    now = services.ports.clock.wall_ns()
    await services.ports.audit.add(AuditRecord(now, caller.name, "replay.stopped", stopped.sortie, {}))
    return Json(stopped.as_record())
