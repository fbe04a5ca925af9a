"""Tokens while the service runs: made, listed, exchanged for new ones, revoked. Secrets are shown once."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Body
from pydantic import BaseModel, ConfigDict, Field

from spinfloor.api.auth import make_token
from spinfloor.api.names import Id
from spinfloor.api.problems import ProblemError
from spinfloor.api.responses import Json
from spinfloor.api.services import AsControl, Services, Use
from spinfloor.core.events import Json as JsonValue
from spinfloor.ports.audit import AuditRecord
from spinfloor.ports.tokens import Role, TokenRecord

router = APIRouter(prefix="/v1/tokens", tags=["tokens"])


class NewToken(BaseModel):
    """name: a crew role or a link, no person. days it lasts; 0: until revoked."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(pattern=r"^[^\x00-\x1f\x7f]{1,80}$")
    role: Role
    days: float = Field(default=0.0, ge=0.0, le=3650.0, allow_inf_nan=False, strict=True)


class Rotation(BaseModel):
    """grace_s: how long the old secret still counts, so that a sender can be given the new one in flight."""

    model_config = ConfigDict(extra="forbid")

    grace_s: float = Field(default=300.0, ge=0.0, le=86_400.0, allow_inf_nan=False, strict=True)


@router.get("")
async def list_tokens(services: Use, _caller: AsControl) -> Json:
    """Every token, oldest first, without its secret or hash."""
    return Json({"tokens": [_shown(record) for record in await services.ports.tokens.list_all()]})


@router.post("", status_code=201)
async def post_token(services: Use, caller: AsControl, body: Annotated[NewToken, Body()]) -> Json:
    """Make a token; `secret` is told here and never again."""
    now = services.ports.clock.wall_ns()
    secret, record = make_token(body.name, body.role, now_ns=now, lasts_s=body.days * 86_400.0)
    await services.ports.tokens.put(record)
    await _audit(services, caller.name, "token.created", record)
    return Json({"secret": secret, **_shown(record)}, status_code=201)


@router.post("/{token}/rotation", status_code=201)
async def rotate(
    token: Id, services: Use, caller: AsControl, body: Annotated[Rotation, Body(default_factory=Rotation)]
) -> Json:
    """A new token with the same name, role and end; the old one counts for `grace_s` seconds more."""
    old = await _in_force(services, token)
    now = services.ports.clock.wall_ns()
    left_s = (old.expires_ns - now) * 1e-9 if old.expires_ns else 0.0
    secret, record = make_token(old.name, old.role, now_ns=now, lasts_s=left_s)
    await services.ports.tokens.put(record)
    ends_ns = now + int(body.grace_s * 1e9)
    await services.ports.tokens.put(replace(old, expires_ns=min(ends_ns, old.expires_ns or ends_ns)))
    await _audit(services, caller.name, "token.rotated", record, instead_of=old.id)
    return Json({"secret": secret, **_shown(record), "instead_of": old.id}, status_code=201)


@router.delete("/{token}")
async def revoke(token: Id, services: Use, caller: AsControl) -> Json:
    """End a token at once; open sockets and sessions of it end within seconds."""
    record = await _in_force(services, token)
    now = services.ports.clock.wall_ns()
    await _check_not_last(services, record, now)
    revoked = replace(record, revoked_ns=now)
    await services.ports.tokens.put(revoked)
    await _audit(services, caller.name, "token.revoked", revoked)
    return Json(_shown(revoked))


async def _in_force(services: Services, token: str) -> TokenRecord:
    record = await services.ports.tokens.get(token)
    if record is None or not record.in_force(services.ports.clock.wall_ns()):
        raise ProblemError(
            404, "unknown-token", expected="the id of a token in force", got=repr(token), now="nothing was done"
        )
    return record


async def _check_not_last(services: Services, record: TokenRecord, now: int) -> None:
    if record.role is not Role.CONTROL or not services.authority.required:
        return
    others = [t for t in await services.ports.tokens.list_all() if t.id != record.id and t.role is Role.CONTROL]
    if not any(other.in_force(now) for other in others):
        raise ProblemError(
            409,
            "last-control-token",
            expected="another control token in force",
            got=f"{record.id}, the last one",
            now="nothing was done; rotate it, or make another first",
        )


async def _audit(services: Services, by: str, action: str, record: TokenRecord, **more: JsonValue) -> None:
    data: dict[str, JsonValue] = {"id": record.id, "name": record.name, "role": record.role.value, **more}
    await services.ports.audit.add(AuditRecord(services.ports.clock.wall_ns(), by, action, None, data))


def _shown(record: TokenRecord) -> dict[str, object]:
    return {
        "id": record.id,
        "name": record.name,
        "role": record.role.value,
        "created_ns": record.created_ns,
        "expires_ns": record.expires_ns,
        "revoked_ns": record.revoked_ns,
    }
