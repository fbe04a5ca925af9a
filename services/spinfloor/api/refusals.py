"""What the door answers when it lets a request no further."""

from __future__ import annotations

from typing import Any

from starlette.types import Receive, Scope, Send

from spinfloor.api.problems import ProblemError, problem_response, record_of
from spinfloor.core.errors import SpinfloorError


def too_large(limit: int) -> ProblemError:
    """413: a body of more than `limit` bytes."""
    return ProblemError(
        413,
        "too-large",
        expected=f"a body of at most {limit} bytes",
        got="a larger one",
        now="nothing was taken; send it in pieces",
        limit_bytes=limit,
    )


def too_slow(limit_s: float) -> ProblemError:
    """408: a body that is not there after `limit_s` seconds."""
    now = "nothing was taken; send it again in smaller pieces"
    return ProblemError(408, "too-slow", expected=f"the whole body within {limit_s:g} s", got="a part of it", now=now)


def headers_too_large(limit: int) -> ProblemError:
    """431: a request whose address and headers have more than `limit` bytes."""
    now = "nothing was done"
    return ProblemError(431, "headers-too-large", expected=f"headers of at most {limit} bytes", got="more", now=now)


def no_request() -> ProblemError:
    """400: bytes that no request begins with, or a body that is framed wrongly."""
    now = "nothing was done and the connection is closed"
    return ProblemError(400, "http-error", expected="an HTTP/1.1 request", got="bytes that are none", now=now)


def busy(what: str, limit: int) -> ProblemError:
    """429: `limit` of `what` are there already."""
    now = "nothing was done; try again"
    return ProblemError(429, "too-many-connections", expected=f"at most {limit} {what}", got="one more", now=now)


async def refuse(error: SpinfloorError, scope: Scope, receive: Receive, send: Send) -> None:
    """Answer with a problem and close; a WebSocket is refused before it is accepted."""
    if scope["type"] == "websocket":
        await _refuse_websocket(error, scope, receive, send)
        return
    response = problem_response(record_of(error), {"Connection": "close"})
    await response(scope, receive, send)


async def _refuse_websocket(error: SpinfloorError, scope: Scope, receive: Receive, send: Send) -> None:
    await receive()
    response = problem_response(record_of(error))
    if "websocket.http.response" not in (scope.get("extensions") or {}):
        await send({"type": "websocket.close", "code": 1008, "reason": error.sentence[:120]})
        return
    start: dict[str, Any] = {
        "type": "websocket.http.response.start",
        "status": response.status_code,
        "headers": response.raw_headers,
    }
    await send(start)
    await send({"type": "websocket.http.response.body", "body": bytes(response.body)})
