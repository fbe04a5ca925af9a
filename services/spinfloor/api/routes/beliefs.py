"""What is believed of an aircraft; taking back what a recovery taught, and putting it back."""

from __future__ import annotations

from typing import Annotated, Self

from fastapi import APIRouter, Body, Path
from pydantic import BaseModel, ConfigDict, Field, model_validator

from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, AsWatch, Use
from spinfloor.archive.withdrawals import RESTORATION, WITHDRAWAL, taken_out, with_again, without
from spinfloor.core.events import Json as JsonValue
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.beliefs import StoredBeliefs

router = APIRouter(prefix="/v1", tags=["beliefs"])

AircraftName = Annotated[str, Path(min_length=1, max_length=80)]


class Recoveries(BaseModel):
    """One recovery (sortie and spin), or all of them; a reason is needed either way."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True)

    reason: str = Field(min_length=1, max_length=400)
    by: str = Field(min_length=1, max_length=80)
    sortie: str | None = Field(default=None, max_length=64)
    spin: int | None = Field(default=None, ge=1, le=100_000, strict=True)

    @property
    def key(self) -> tuple[str, int] | None:
        """(sortie, spin), None for all."""
        return None if self.sortie is None or self.spin is None else (self.sortie, self.spin)

    @model_validator(mode="after")
    def _both_or_none(self) -> Self:
        if (self.sortie is None) != (self.spin is None):
            raise ValueError("sortie and spin together (one recovery), or neither (all of them)")
        return self


@router.get("/aircraft")
async def list_aircraft(services: Use, _caller: AsWatch) -> Json:
    """Every aircraft with something learnt."""
    return Json({"aircraft": await services.ports.beliefs.aircraft()})


@router.get("/aircraft/{aircraft:path}/beliefs")
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


@router.post("/aircraft/{aircraft:path}/beliefs/withdrawals")
async def withdraw(
    aircraft: AircraftName, services: Use, caller: AsControl, body: Annotated[Recoveries, Body()]
) -> Json:
    """Believe less: without one recovery, or back to the priors. A new version; nothing is overwritten."""
    stored = await _stored(services, aircraft)
    before = Beliefs.from_json(stored.beliefs)
    changed = without(before, body.key, body.reason)
    data: dict[str, JsonValue] = {"recoveries": taken_out(before, changed)}
    return await _changed(services, caller, body, stored, changed, WITHDRAWAL, data)


@router.post("/aircraft/{aircraft:path}/beliefs/restorations")
async def restore(
    aircraft: AircraftName, services: Use, caller: AsControl, body: Annotated[Recoveries, Body()]
) -> Json:
    """Undo withdrawals: of one recovery, or of all that are withdrawn. A new version."""
    stored = await _stored(services, aircraft)
    changed = await with_again(services.ports, aircraft, Beliefs.from_json(stored.beliefs), body.key)
    return await _changed(services, caller, body, stored, changed, RESTORATION, {})


async def _stored(services: Use, aircraft: str) -> StoredBeliefs:
    stored = await services.ports.beliefs.current(aircraft)
    if stored is None:
        raise _unknown(aircraft)
    return stored


async def _changed(
    services: Use, caller: AsControl, body: Recoveries, before: StoredBeliefs, beliefs: Beliefs, action: str,
    data: dict[str, JsonValue],
) -> Json:  # fmt: skip
    """Store the next version, with who and why in the audit log. Raises StaleVersionError when somebody was faster."""
    what = "all" if body.key is None else f"{body.sortie}:{body.spin}"
    made = await services.learner.store(before.aircraft, before, beliefs, cause_key=f"{action}:{before.version}:{what}")
    data |= {"aircraft": before.aircraft, "reason": body.reason, "spin": body.spin, "version": made.version}
    now, by = services.ports.clock.wall_ns(), services.authority.signature(body.by, caller)
    await services.ports.audit.add(AuditRecord(now, by, action, body.sortie, data))
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
