"""Reprocessing sorties as new runs, with progress."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body

from spinfloor.api.names import Id
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, AsWatch, Use
from spinfloor.archive.rerun_model import NewRerun
from spinfloor.ports.audit import AuditRecord

router = APIRouter(prefix="/v1", tags=["runs"])


@router.post("/reruns", status_code=202)
async def post_rerun(services: Use, caller: AsControl, body: Annotated[NewRerun, Body()]) -> Json:
    """Put sorties through the detector again, with other settings or beliefs or a newer detector. Each makes a run of
    its own; the flown run stays in force. Ask for the progress under the answer's id."""
    by = services.authority.signature(body.by, caller)
    job = await services.reruns.start(body.model_copy(update={"by": by}))
    now = services.ports.clock.wall_ns()
    for one in job.sorties[:100]:
        data: dict[str, Any] = {"rerun": job.id, "plan": body.plan, "beliefs": body.beliefs}
        await services.ports.audit.add(AuditRecord(now, by, "rerun.started", one.sortie, data))
    return Json(job.as_record(), status_code=202, headers={"Location": f"/v1/reruns/{job.id}"})


@router.get("/reruns")
async def list_reruns(services: Use, _caller: AsWatch) -> Json:
    """Reruns at work and the last that have ended, newest last."""
    return Json({"reruns": [job.as_record() for job in services.reruns.all()]})


@router.get("/reruns/{rerun}")
async def get_rerun(rerun: Id, services: Use, _caller: AsWatch) -> Json:
    """How far it has got, and per sortie the run it made and how much differs from the flown one."""
    return Json(services.reruns.get(rerun).as_record())


@router.delete("/reruns/{rerun}")
async def delete_rerun(rerun: Id, services: Use, _caller: AsControl) -> Json:
    """End it; what is done already stays."""
    return Json((await services.reruns.cancel(rerun)).as_record())
