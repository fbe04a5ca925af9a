"""The door, as plain ASGI: host, origin, body size and rate are checked before any route sees a request."""

from __future__ import annotations

from collections import Counter

from starlette.types import ASGIApp, Receive, Scope, Send

from spinfloor.api.auth import SAFE_METHODS
from spinfloor.api.limited_body import LimitedBody
from spinfloor.api.metrics import Traffic
from spinfloor.api.problems import ProblemError
from spinfloor.api.refusals import busy, refuse
from spinfloor.api.settings import Settings
from spinfloor.core.errors import SpinfloorError
from spinfloor.ingest.limits import RateLimit
from spinfloor.ports.clock import Clock


class Guard:
    """Wraps the app. Refusals are problem+json; a refused WebSocket is closed before it is accepted."""

    def __init__(self, app: ASGIApp, settings: Settings, clock: Clock, traffic: Traffic) -> None:
        self.app = app
        self.settings = settings
        self._requests = RateLimit(clock, per_second=settings.requests_per_s, burst=settings.request_burst)
        self._traffic = traffic
        self.sockets: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI entry."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        try:
            self._check(scope)
        except SpinfloorError as error:
            self._traffic.refused += 1
            await refuse(error, scope, receive, send)
            return
        self._traffic.connections += 1
        try:
            if scope["type"] == "http":
                await self._limited(scope, receive, send)
            else:
                await self._counted(scope, receive, send)
        finally:
            self._traffic.connections -= 1

    async def _counted(self, scope: Scope, receive: Receive, send: Send) -> None:
        client = _client(scope)
        self.sockets[client] += 1
        try:
            await self.app(scope, receive, send)
        finally:
            self.sockets[client] -= 1
            if not self.sockets[client]:
                del self.sockets[client]

    def _check(self, scope: Scope) -> None:
        headers = {name: value.decode("latin-1") for name, value in scope["headers"]}
        self._check_host(headers)
        self._check_origin(scope, headers)
        _check_coding(headers)
        if self._traffic.connections >= self.settings.max_connections:
            raise busy("connections", self.settings.max_connections)
        if scope["type"] == "websocket" and self.sockets[_client(scope)] >= self.settings.max_sockets_per_client:
            raise busy("WebSockets from one address", self.settings.max_sockets_per_client)
        wait_s = self._requests.wait_s(_client(scope), 1.0)
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
        if origin in self.settings.allowed_origins or origin.partition("://")[2] == headers.get(b"host", ""):
            return
        raise ProblemError(
            403,
            "wrong-origin",
            expected="a request from the service's own pages (or an allowed origin)",
            got=f"the origin {origin!r}",
            now="nothing was done",
        )

    def _limits(self, path: str) -> tuple[int, float]:
        """Bytes of a body, and seconds for it to arrive."""
        settings = self.settings
        if path == "/v1/archives":
            return settings.max_archive_body, settings.archive_within_s
        return (settings.max_frames_body if path.endswith("/frames") else settings.max_body), settings.body_within_s

    async def _limited(self, scope: Scope, receive: Receive, send: Send) -> None:
        limit, within_s = self._limits(scope["path"])
        await LimitedBody(self.app, limit, within_s)(scope, receive, send)


def _check_coding(headers: dict[bytes, str]) -> None:
    coding = headers.get(b"content-encoding", "").strip().lower()
    if coding not in ("", "identity"):
        raise ProblemError(
            415,
            "unknown-media-type",
            expected="a body without a Content-Encoding (MessagePack and Parquet are small as they are)",
            got=repr(coding[:80]),
            now="nothing was taken",
        )


def _client(scope: Scope) -> str:
    client = scope.get("client")
    return str(client[0]) if client else ""


def _host_name(host: str) -> str:
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0]
