"""Marks: what a person did or said, in the order of the frames."""

from __future__ import annotations

from typing import Annotated, Any, Final

from fastapi import APIRouter, Body, Query
from pydantic import BaseModel, ConfigDict, Field, model_validator

from spinfloor.api.bodies import StorableObject
from spinfloor.api.names import SortieId
from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.routes.sorties import source_time
from spinfloor.api.services import AsControl, AsWatch, Use
from spinfloor.core.events import Mark
from spinfloor.detect.building import build_detector
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.inputs import MarkInput

router = APIRouter(prefix="/v1", tags=["marks"])

_CARRIED: Final = frozenset({"call", "card", "text"})  # what the marks carry


class MarkBody(BaseModel):
    """kind: controls_applied, call_made, acknowledge, note or card ("controls applied" is taken too). by: a crew role.
    key: makes sending again safe. `call`, `card` and `text` may also stand beside `kind` instead of in `data`."""

    model_config = ConfigDict(extra="forbid")

    kind: str = Field(min_length=1, max_length=40)
    by: str = Field(default="control room", min_length=1, max_length=80)
    data: StorableObject = Field(default_factory=dict)
    time_ns: int | None = Field(default=None, ge=0, lt=2**62, strict=True)
    key: str | None = Field(default=None, min_length=1, max_length=80)

    @model_validator(mode="before")
    @classmethod
    def _gathered(cls, body: Any) -> Any:
        if not isinstance(body, dict):
            return body
        carried = {name: body[name] for name in _CARRIED & body.keys()}
        rest = {name: value for name, value in body.items() if name not in carried}
        if isinstance(kind := rest.get("kind"), str):
            rest["kind"] = kind.strip().lower().replace(" ", "_").replace("-", "_")
        data = rest.get("data", {})
        return {**rest, "data": {**carried, **data}} if carried and isinstance(data, dict) else {**rest, **carried}


@router.post("/sorties/{sortie}/marks", status_code=201)
async def post_mark(sortie: SortieId, services: Use, caller: AsControl, body: Annotated[MarkBody, Body()]) -> Json:
    """Journal a mark. Without time_ns it takes the newest time of the source."""
    record = await services.ports.sorties.get(sortie)
    time_ns = body.time_ns if body.time_ns is not None else await source_time(services, sortie)
    by = services.authority.signature(body.by, caller)
    if body.kind == "floors":
        raise ProblemError(
            422,
            "unknown-mark",
            expected="floors to be moved by PATCH /v1/sorties/ID/floors, which checks them",
            got="a mark",
            now="the mark was not taken",
        )
    mark = Mark(body.kind, time_ns, by, body.data)
    build_detector(record).check_mark(mark)
    now = services.ports.clock.wall_ns()
    appended = await services.ports.inputs.append(sortie, MarkInput(mark, now, body.key))
    if not appended.duplicate:
        await services.ports.audit.add(AuditRecord(now, by, f"mark.{mark.kind}", sortie, {"data": body.data}))
    services.view.touch(sortie)
    return Json(
        {"offset": appended.offset, "duplicate": appended.duplicate, "time_ns": time_ns},
        status_code=200 if appended.duplicate else 201,
    )


@router.get("/sorties/{sortie}/audit")
async def get_audit(
    sortie: SortieId,
    services: Use,
    _caller: AsWatch,
    after: Annotated[int, Query(ge=-1, le=2**62)] = -1,
    limit: Annotated[int, Query(ge=1, le=10_000)] = 1000,
) -> Json:
    """Who did what in a sortie, calls that sounded among it."""
    await services.ports.sorties.get(sortie)
    records = await services.ports.audit.read(sortie=sortie, after=after, limit=limit)
    return Json(
        {
            "records": [
                {"position": r.position, "at_ns": r.at_ns, "by": r.by, "action": r.action, "data": dict(r.data)}
                for r in records
            ]
        }
    )
