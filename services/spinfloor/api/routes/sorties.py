"""Sorties: create with a plan, list, look at, move the floors."""

from __future__ import annotations

import re
import secrets
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query, Request
from pydantic import BaseModel, ConfigDict, Field, model_validator

from spinfloor.api.bodies import named_plan_body
from spinfloor.api.names import ID_PATTERN, SortieId
from spinfloor.api.plans import checked_floors, current_floors
from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, AsSourceOrWatch, AsWatch, Services, Use
from spinfloor.core.events import Json as JsonValue
from spinfloor.core.plan.load import plan_from, plan_to_data
from spinfloor.core.plan.model import Floors
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.detect.messages import nothing_yet
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.inputs import FloorsInput
from spinfloor.ports.sorties import SortieKind, SortieRecord

router = APIRouter(prefix="/v1", tags=["sorties"])


class FloorsPatch(BaseModel):
    """The floors to change; those left out stay. by: the crew role who set them.

    The floors may also stand beside `by` instead of in `floors`.
    """

    model_config = ConfigDict(extra="forbid")

    floors: dict[str, Any] = Field(min_length=1)
    by: str = Field(default="control room", min_length=1, max_length=80)
    time_ns: int | None = Field(default=None, ge=0, lt=2**62, strict=True)

    @model_validator(mode="before")
    @classmethod
    def _gathered(cls, data: Any) -> Any:
        if not isinstance(data, dict) or "floors" in data:
            return data
        floors = {name: value for name, value in data.items() if name in Floors.model_fields}
        rest = {name: value for name, value in data.items() if name not in floors}
        return {**rest, "floors": floors} if floors else data


def new_sortie_id(now_ns: int) -> str:
    """A name by date and random letters, enough that no two made in the same second are ever alike."""
    return f"{datetime.fromtimestamp(now_ns * 1e-9, UTC):%Y%m%d-%H%M%S}-{secrets.token_hex(5)}"


async def create_sortie(
    services: Services, plan: Any, *, sortie: str | None, kind: SortieKind, notes: dict[str, JsonValue] | None = None
) -> tuple[SortieRecord, bool]:
    """Check the plan, take the beliefs as they stand, store. (record, whether it is new)."""
    checked = plan_from(plan)
    now = services.ports.clock.wall_ns()
    believed = await services.ports.beliefs.current(checked.aircraft.name)
    record = SortieRecord(
        id=sortie or new_sortie_id(now),
        kind=kind,
        created_ns=now,
        aircraft=checked.aircraft.name,
        plan=plan_to_data(checked),
        beliefs=None if believed is None else Beliefs.from_json(believed.beliefs).with_priors(checked).as_json(),
        belief_version=0 if believed is None else believed.version,
        notes=notes or {},
    )
    made = await services.ports.sorties.create(record)
    return (record, True) if made else (await services.ports.sorties.get(record.id), False)


@router.post("/sorties", status_code=201)
async def post_sortie(
    request: Request,
    services: Use,
    caller: AsControl,
    id: Annotated[str | None, Query(pattern=ID_PATTERN, description="default: made up")] = None,
    kind: SortieKind = SortieKind.FLIGHT,
) -> Json:
    """Create a sortie from its plan (JSON or YAML), or from `{"plan": plan, "id": id}`.

    The same id and plan again answers 200 and changes nothing.
    """
    plan, named = await named_plan_body(request)
    record, new = await create_sortie(services, plan, sortie=_one_id(id, named), kind=kind)
    if new:
        await services.ports.audit.add(
            AuditRecord(record.created_ns, caller.name, "sortie.created", record.id, {"kind": kind.value})
        )
    services.view.touch(record.id)
    return Json(_detail(record), status_code=201 if new else 200, headers={"Location": f"/v1/sorties/{record.id}"})


def _one_id(asked: str | None, named: object) -> str | None:
    """The id of the address or of the body. Raises ProblemError for one that is none, and for two."""
    if named is None or named == asked:
        return asked
    if asked is None and isinstance(named, str) and re.fullmatch(ID_PATTERN, named):
        return named
    raise ProblemError(
        422,
        "bad-request",
        expected=f"one id for the sortie that matches {ID_PATTERN}",
        got=repr(named)[:80] if asked is None else f"{asked!r} in the address and {named!r}"[:160] + " in the body",
        now="no sortie was made",
    )


@router.get("/sorties")
async def list_sorties(
    services: Use,
    _caller: AsWatch,
    aircraft: Annotated[str | None, Query(max_length=80)] = None,
    kind: SortieKind | None = None,
    before: Annotated[str | None, Query(pattern=ID_PATTERN)] = None,
    limit: Annotated[int, Query(ge=1, le=1000)] = 200,
) -> Json:
    """Newest first, each with the newest state its detector has shown, and what keeps the detector from going on.

    before: the sorties behind this one; with the last id of an answer comes the rest.
    """
    if before is not None:
        await services.ports.sorties.get(before)  # an unknown one would look like the end
    records = await services.ports.sorties.list_all(limit=limit, aircraft=aircraft, kind=kind, before=before)
    rows = [
        {**_summary(r), "state": await services.view.shown(r.id), "trouble": services.view.trouble(r.id)}
        for r in records
    ]
    return Json({"sorties": rows})


@router.get("/sorties/{sortie}")
async def get_sortie(sortie: SortieId, services: Use, _caller: AsWatch) -> Json:
    """The sortie with its plan, the floors in force and how far its sources have got."""
    record = await services.ports.sorties.get(sortie)
    extent = await services.ports.frames.extent(sortie)
    return Json(
        {
            **_detail(record),
            "floors": await current_floors(services.ports, record),
            "sources": await _sources(services, sortie),
            "frames": {"first_ns": extent.first_ns, "last_ns": extent.last_ns, "count": extent.frames},
            "runs": await services.ports.events.runs(sortie),
        }
    )


@router.get("/sorties/{sortie}/sources")
async def get_sources(sortie: SortieId, services: Use, _caller: AsSourceOrWatch) -> Json:
    """What a sender has to know: how far each source has got (it goes on from `last_sequence` + 1), and the plan's
    channel map."""
    record = await services.ports.sorties.get(sortie)
    return Json({"sources": await _sources(services, sortie), "channel_map": record.plan.get("channel_map")})


@router.get("/sorties/{sortie}/state")
async def get_state(sortie: SortieId, services: Use, _caller: AsWatch) -> Json:
    """The state after everything acknowledged so far."""
    await services.ports.sorties.get(sortie)
    settled = await services.view.settle(sortie)
    state = await services.view.state(sortie) or nothing_yet(sortie)
    state["settled"] = settled
    state["trouble"] = services.view.trouble(sortie)
    return Json(state)


@router.patch("/sorties/{sortie}/floors")
async def patch_floors(
    sortie: SortieId, services: Use, caller: AsControl, patch: Annotated[FloorsPatch, Body()]
) -> Json:
    """Move floors; journalled with the inputs and told as an event. Refused as a whole when the set makes no sense."""
    record = await services.ports.sorties.get(sortie)
    floors = await checked_floors(services.ports, record, patch.floors)
    now = services.ports.clock.wall_ns()
    time_ns = patch.time_ns if patch.time_ns is not None else await source_time(services, sortie)
    by = services.authority.signature(patch.by, caller)
    appended = await services.ports.inputs.append(sortie, FloorsInput(floors, time_ns, by, now))
    await services.ports.audit.add(AuditRecord(now, by, "floors", sortie, {"floors": floors}))
    services.view.touch(sortie)
    return Json({"floors": floors, "offset": appended.offset})


async def source_time(services: Services, sortie: str) -> int:
    """The newest time of the sortie's source, the wall clock before any."""
    sources = await services.ports.inputs.sources(sortie)
    return max((s.last_time_ns for s in sources), default=services.ports.clock.wall_ns())


async def _sources(services: Services, sortie: str) -> list[dict[str, object]]:
    return [
        {
            "source": s.source,
            "last_sequence": s.last_sequence,
            "batches": s.batches,
            "frames": s.frames,
            "last_time_ns": s.last_time_ns,
        }
        for s in await services.ports.inputs.sources(sortie)
    ]


def _summary(record: SortieRecord) -> dict[str, object]:
    return {
        "id": record.id,
        "title": record.plan.get("title"),
        "aircraft": record.aircraft,
        "kind": record.kind.value,
        "origin": "live" if record.kind is SortieKind.FLIGHT else "replay",
        "created_ns": record.created_ns,
        "notes": dict(record.notes),
    }


def _detail(record: SortieRecord) -> dict[str, object]:
    return {**_summary(record), "plan": dict(record.plan), "belief_version": record.belief_version}
