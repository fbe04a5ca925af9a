"""The door, as plain ASGI: host, origin, body size and rate are checked before any route sees a request."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any, Final
from urllib.parse import urlsplit

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from spinfloor.api.problems import ProblemError, problem_response, record_of
from spinfloor.api.settings import Settings
from spinfloor.core.errors import SpinfloorError
from spinfloor.ingest.limits import RateLimit
from spinfloor.ports.clock import Clock

READ_AWAY_BYTES: Final = 64 << 20
READ_AWAY_S: Final = 10.0
SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})


class _TooLargeError(Exception):
    pass


class Guard:
    """Wraps the app. Refusals are problem+json; a refused WebSocket is closed before it is accepted."""

    def __init__(self, app: ASGIApp, settings: Settings, clock: Clock) -> None:
        self.app = app
        self.settings = settings
        self._requests = RateLimit(clock, per_second=settings.requests_per_s, burst=settings.request_burst)
        self.connections = 0
        self.refused = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI entry."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        try:
            self._check(scope)
        except SpinfloorError as error:
            self.refused += 1
            await _refuse(error, scope, receive, send)
            return
        self.connections += 1
        try:
            if scope["type"] == "http":
                await self._limited(scope, receive, send)
            else:
                await self.app(scope, receive, send)
        finally:
            self.connections -= 1

    def _check(self, scope: Scope) -> None:
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        self._check_host(headers)
        self._check_origin(scope, headers)
        if self.connections >= self.settings.max_connections:
            raise _busy("connections", self.settings.max_connections)
        client = scope.get("client")
        wait_s = self._requests.wait_s(client[0] if client else "", 1.0)
        if wait_s > 0.0:
            raise ProblemError(
                429,
                "too-many-requests",
                expected=f"at most {self.settings.requests_per_s:g} requests a second from one address",
                got="more",
                now="nothing was done; send fewer, larger batches or use the WebSocket",
                retry_after_s=max(1, round(wait_s)),
            )

    def _check_host(self, headers: dict[bytes, str]) -> None:
        allowed = self.settings.allowed_hosts
        host = _host_name(headers.get(b"host", ""))
        if allowed and host not in allowed:
            raise ProblemError(
                403,
                "wrong-host",
                expected="the Host header to name this service: " + ", ".join(allowed),
                got=repr(host),
                now="nothing was done",
            )

    def _check_origin(self, scope: Scope, headers: dict[bytes, str]) -> None:
        origin = headers.get(b"origin")
        if origin is None or (scope["type"] == "http" and scope["method"] in SAFE_METHODS):
            return
        if origin in self.settings.allowed_origins or urlsplit(origin).netloc == headers.get(b"host", ""):
            return
        raise ProblemError(
            403,
            "wrong-origin",
            expected="a request from the service's own pages (or an allowed origin)",
            got=f"the origin {origin!r}",
            now="nothing was done",
        )

    def _limit(self, path: str) -> int:
        if path.endswith("/frames"):
            return self.settings.max_frames_body
        return self.settings.max_archive_body if path == "/v1/archives" else self.settings.max_body

    async def _limited(self, scope: Scope, receive: Receive, send: Send) -> None:
        limit = self._limit(scope["path"])
        declared = _content_length(scope)
        if declared is not None and declared > limit:
            await _read_away(receive)
            await _refuse(_too_large(limit), scope, receive, send)
            return
        taken = 0
        started = False

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                if taken > limit:
                    raise _TooLargeError
            return message

        async def watched(message: Message) -> None:
            nonlocal started
            started = started or message["type"] == "http.response.start"
            await send(message)

        try:
            await self.app(scope, counted, watched)
        except _TooLargeError:
            if not started:
                await _read_away(receive)
                await _refuse(_too_large(limit), scope, receive, send)


async def _read_away(receive: Receive) -> None:
    """Let a sender finish, so that it reads the refusal instead of a broken connection; bounded in bytes and time."""
    taken = 0
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(READ_AWAY_S):
            while taken < READ_AWAY_BYTES:
                message = await receive()
                taken += len(message.get("body", b""))
                if message["type"] != "http.request" or not message.get("more_body", False):
                    return


def _host_name(host: str) -> str:
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0]


def _content_length(scope: Scope) -> int | None:
    for name, value in scope["headers"]:
        if name == b"content-length" and value.isdigit():
            return int(value)
    return None


def _too_large(limit: int) -> ProblemError:
    return ProblemError(
        413,
        "too-large",
        expected=f"a body of at most {limit} bytes",
        got="a larger one",
        now="nothing was taken; send it in pieces",
        limit_bytes=limit,
    )


def _busy(what: str, limit: int) -> ProblemError:
    now = "nothing was done; try again"
    return ProblemError(429, "too-many-connections", expected=f"at most {limit} {what}", got="one more", now=now)


async def _refuse(error: SpinfloorError, scope: Scope, receive: Receive, send: Send) -> None:
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
