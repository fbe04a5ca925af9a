"""Browser sessions, so that pages and their sockets need no token in an address."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Request
from pydantic import BaseModel, ConfigDict, Field

from spinfloor.api.auth import COOKIE, SESSION_S, csrf_of
from spinfloor.api.responses import Json
from spinfloor.api.services import Use

router = APIRouter(prefix="/v1", tags=["session"])


class Login(BaseModel):
    """A token's secret."""

    model_config = ConfigDict(extra="forbid")

    token: str = Field(min_length=1, max_length=200)


@router.post("/session")
async def open_session(services: Use, body: Annotated[Login, Body()]) -> Json:
    """Exchange a token for a cookie scripts can't read; the answer's csrf goes into a header with every change. The session
    lasts twelve hours at most, ends with its token, and outlives a restart of the service."""
    value, caller = await services.authority.open_session(body.token)
    answer = Json({"name": caller.name, "role": caller.role.value, "csrf": csrf_of(value)})
    answer.set_cookie(
        COOKIE,
        value,
        max_age=int(SESSION_S),
        httponly=True,
        samesite="strict",
        secure=services.settings.secure_cookies,
        path="/",
    )
    return answer


@router.get("/session")
async def get_session(request: Request, services: Use) -> Json:
    """Who is asking, and the csrf of the session, so that every tab of the browser can make changes."""
    caller = await services.authority.caller(request)
    value = request.cookies.get(COOKIE, "")
    return Json(
        {
            "name": caller.name,
            "role": caller.role.value,
            "tokens_required": services.authority.required,
            "csrf": csrf_of(value) if value and services.authority.required else None,
        }
    )


@router.delete("/session")
async def end_session(request: Request, services: Use) -> Json:
    """Log out."""
    await services.authority.end_session(request.cookies.get(COOKIE, ""))
    answer = Json({"ended": True})
    answer.delete_cookie(COOKIE, path="/")
    return answer
