"""The programme of an aircraft over all its flights, and signing off what stands against going on."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

from fastapi import APIRouter, Body, Path, Query
from pydantic import BaseModel, ConfigDict, Field

from spinfloor.api.names import SortieId
from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, AsWatch, Use
from spinfloor.archive.flown import (
    SORTIES_AT_MOST,
    beliefs_in_force,
    flights_of,
    flown_sorties,
    run_events,
    sign_offs_of,
)
from spinfloor.archive.programme import SIGN_OFF, FlownSortie, open_points, programme, results_of
from spinfloor.archive.spin_table import spin_table
from spinfloor.archive.withdrawals import withdrawn_of
from spinfloor.core.events import Json as JsonValue
from spinfloor.core.plan.gate import SignOff
from spinfloor.detect.building import plan_of
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.sorties import SortieKind

router = APIRouter(prefix="/v1", tags=["programme"])


class SignOffBody(BaseModel):
    """Who signs off, and why the build-up may go on."""

    model_config = ConfigDict(extra="forbid")

    by: str = Field(max_length=80)
    reason: str = Field(max_length=1000)


@router.get("/programme")
async def get_programme(
    services: Use, _caller: AsWatch, aircraft: Annotated[str | None, Query(min_length=1, max_length=80)] = None
) -> Json:
    """Without `aircraft` the names of all with a flight or something learnt. With it: all flown spins, what was learnt
    from which recoveries and how sure, surprises, and which cards of the newest plan are open."""
    if aircraft is None:
        records = await services.ports.sorties.list_all(limit=SORTIES_AT_MOST, kind=SortieKind.FLIGHT)
        named = {record.aircraft for record in records}
        return Json({"aircraft": sorted(named | set(await services.ports.beliefs.aircraft()))})
    records = await flights_of(services.ports, aircraft)
    plan = plan_of(records[-1]) if records else None
    beliefs, version = await beliefs_in_force(services.ports, aircraft, plan)
    if beliefs is None:
        raise ProblemError(
            404,
            "unknown-aircraft",
            expected="an aircraft with a flight or something learnt",
            got=repr(aircraft),
            now="nothing was done",
        )
    flights = await flown_sorties(services.ports, records)
    sign_offs = await sign_offs_of(services.ports, [record.id for record in records])
    withdrawn = await withdrawn_of(services.ports, aircraft, beliefs)
    return Json(
        {
            **programme(aircraft, flights, beliefs, sign_offs, plan, version),
            "evidence": [asdict(one) for one in beliefs.evidence],
            "withdrawn": [one.as_record() for one in withdrawn],
        }
    )


@router.post("/sorties/{sortie}/spins/{spin}/sign-off", status_code=201)
async def sign_off(
    sortie: SortieId,
    spin: Annotated[int, Path(ge=1, le=100_000)],
    services: Use,
    caller: AsControl,
    body: Annotated[SignOffBody, Body()],
) -> Json:
    """An engineer has looked at a spin with something against going on. Kept in the audit log; needs a reason."""
    record = await services.ports.sorties.get(sortie)
    await services.view.settle(sortie)
    rows = spin_table(await run_events(services.ports, sortie, spins_only=True), record.plan)
    results = results_of([FlownSortie(sortie, "", record.created_ns, rows)])
    if not open_points([result for result in results if result.spin == spin], []):
        raise ProblemError(
            404,
            "nothing-to-sign-off",
            expected="a spin with a surprise, a recovery below the floor or beyond the rule",
            got=f"spin {spin} of {sortie}",
            now="nothing was stored",
        )
    by = services.authority.signature(body.by.strip(), caller)
    signed = SignOff(sortie, spin, by, body.reason.strip(), services.ports.clock.wall_ns())
    data: dict[str, JsonValue] = {"spin": spin, "reason": signed.reason}
    await services.ports.audit.add(AuditRecord(signed.time_ns, signed.by, SIGN_OFF, sortie, data))
    return Json(
        {"sortie": sortie, "spin": spin, "by": signed.by, "reason": signed.reason, "time_ns": signed.time_ns},
        status_code=201,
    )
