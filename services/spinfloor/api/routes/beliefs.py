"""What is believed of an aircraft, and signing off a surprise."""

from __future__ import annotations

from typing import Annotated, Self

from fastapi import APIRouter, Body, Path
from pydantic import BaseModel, ConfigDict, Field, model_validator

from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, AsWatch, Use
from spinfloor.core.events import Json as JsonValue
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.beliefs import StoredBeliefs

router = APIRouter(prefix="/v1", tags=["beliefs"])

AircraftName = Annotated[str, Path(min_length=1, max_length=80)]


class Withdrawal(BaseModel):
    """Take one recovery back out (sortie and spin), or all of them; a reason is needed either way."""

    model_config = ConfigDict(extra="forbid")

    reason: str = Field(min_length=1, max_length=400)
    by: str = Field(min_length=1, max_length=80)
    sortie: str | None = Field(default=None, max_length=64)
    spin: int | None = Field(default=None, ge=1, le=100_000, strict=True)

    @model_validator(mode="after")
    def _both_or_none(self) -> Self:
        if (self.sortie is None) != (self.spin is None):
            raise ValueError("sortie and spin together (one recovery), or neither (all of them)")
        return self


@router.get("/aircraft")
async def list_aircraft(services: Use, _caller: AsWatch) -> Json:
    """Every aircraft with something learnt."""
    return Json({"aircraft": await services.ports.beliefs.aircraft()})


@router.get("/aircraft/{aircraft}/beliefs")
async def get_beliefs(aircraft: AircraftName, services: Use, _caller: AsWatch) -> Json:
    """The newest beliefs and every version's cause."""
    history = await services.ports.beliefs.history(aircraft)
    if not history:
        raise _unknown(aircraft)
    return Json(
        {
            "aircraft": aircraft,
            "version": history[-1].version,
            "beliefs": dict(history[-1].beliefs),
            "history": [_version(stored) for stored in history],
        }
    )


@router.post("/aircraft/{aircraft}/beliefs/withdrawals")
async def withdraw(
    aircraft: AircraftName, services: Use, caller: AsControl, body: Annotated[Withdrawal, Body()]
) -> Json:
    """Believe less: without one recovery, or back to the priors. A new version; nothing is overwritten."""
    stored = await services.ports.beliefs.current(aircraft)
    if stored is None:
        raise _unknown(aircraft)
    beliefs = Beliefs.from_json(stored.beliefs)
    if body.sortie is not None and body.spin is not None:
        changed = beliefs.without(body.sortie, body.spin)
    else:
        changed = beliefs.reset(body.reason)
    if changed is beliefs:
        raise ProblemError(
            404,
            "no-such-recovery",
            expected="a recovery that is among the evidence",
            got=f"sortie {body.sortie!r}, spin {body.spin}",
            now="nothing was changed",
        )
    key = f"withdrawal:{stored.version}"
    made = await services.learner.store(aircraft, stored, changed, cause_key=key)
    now = services.ports.clock.wall_ns()
    data: dict[str, JsonValue] = {"aircraft": aircraft, "reason": body.reason, "version": made.version}
    await services.ports.audit.add(
        AuditRecord(now, services.authority.signature(body.by, caller), "beliefs.withdrawal", None, data)
    )
    return Json(_version(made))


def _version(stored: StoredBeliefs) -> dict[str, object]:
    return {"version": stored.version, "created_ns": stored.created_ns, "cause": dict(stored.cause)}


def _unknown(aircraft: str) -> ProblemError:
    return ProblemError(
        404,
        "unknown-aircraft",
        expected="an aircraft with at least one recovery in the store",
        got=repr(aircraft),
        now="nothing was done; its plan's priors hold",
    )
