"""What goes with the screens' own answers: content security, framing, how long a file may be kept."""

from __future__ import annotations

from typing import Final

from dash import Dash
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from spinfloor_dashboard.components import service

# The address of a script or style names its date of change; with another date it is another address.
KEPT: Final = (b"cache-control", b"public, max-age=31536000, immutable")


class PageHeaders:
    """Content-security and framing headers on the screens' own responses; the API's are left alone.

    Scripts run only from our own files and Dash's inline scripts (by hash, taken at the first request, when every
    callback is known). Styles need 'unsafe-inline' because the component libraries write style attributes.
    """

    def __init__(self, app: ASGIApp, dash_app: Dash, browser_base: str = "") -> None:
        self.app = app
        self.dash_app = dash_app
        self.connect = f"'self' {browser_base} {browser_base.replace('http', 'ws', 1)}" if browser_base else "'self'"
        self._policy: bytes | None = None
        self._prepared = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on; add the headers when the answer is an HTML page."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        self._prepare()
        service.remember_session(scope["headers"])

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start" and _may_be_kept(scope, message):
                message["headers"] = [*message["headers"], KEPT]
            if message["type"] == "http.response.start" and is_page(scope["path"], message):
                message["headers"] = [
                    *message["headers"],
                    (b"content-security-policy", self.policy()),
                    (b"x-content-type-options", b"nosniff"),
                    (b"referrer-policy", b"no-referrer"),
                ]
            await send(message)

        await self.app(scope, receive, send_with_headers)

    def _prepare(self) -> None:
        """Have Dash register the callback of its pages before the first page goes out, whichever page that is.

        Dash does so by itself only when the first request is for "/"; a deep link would get a page without it.
        """
        if not self._prepared:
            self._prepared = True
            for hook in self.dash_app.backend._before_request_funcs:
                hook()

    def policy(self) -> bytes:
        """The content-security policy, built once."""
        if self._policy is None:
            scripts = " ".join(f"'{digest.strip(chr(39))}'" for digest in self.dash_app.csp_hashes())
            self._policy = (
                f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline'; "
                f"img-src 'self' data: blob:; font-src 'self' data:; connect-src {self.connect}; "
                "worker-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'self'; "
                "frame-ancestors 'self'"
            ).encode()
        return self._policy


def is_page(path: str, message: Message) -> bool:
    """Whether an answer that begins so is a page of the screens."""
    kinds = [value for name, value in message["headers"] if name.lower() == b"content-type"]
    return bool(kinds) and kinds[0].startswith(b"text/html") and not path.startswith(("/v1", "/docs", "/redoc"))


def _may_be_kept(scope: Scope, message: Message) -> bool:
    named = scope["path"].startswith("/assets/") and scope["query_string"].startswith(b"m=")
    return bool(named and message["status"] == 200)
