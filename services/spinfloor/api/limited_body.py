"""A request's body within its size and its time, however it is sent."""

from __future__ import annotations

import asyncio
import contextlib
from typing import Final

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from spinfloor.api.problems import ProblemError
from spinfloor.api.refusals import refuse, too_large, too_slow

READ_AWAY_BYTES: Final = 64 << 20
READ_AWAY_S: Final = 10.0


class _CutOffError(Exception):
    pass


class LimitedBody:
    """Runs the app for one request whose body may have `limit` bytes and take `within_s` to arrive.

    Beyond either the app's own answer (to a body that ended in the middle) is held back and a refusal is sent.
    """

    def __init__(self, app: ASGIApp, limit: int, within_s: float) -> None:
        self._app = app
        self._limit = limit
        self._end = asyncio.get_running_loop().time() + within_s
        self._within_s = within_s
        self._taken = 0
        self._whole = False
        self._started = False
        self._refusal: ProblemError | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI entry."""
        declared = _content_length(scope)
        if declared is not None and declared > self._limit:
            self._refusal = too_large(self._limit)
        else:
            await self._run(scope, receive, send)
        if self._refusal is not None and not self._started:
            if self._refusal.status == 413:
                await _read_away(receive)
            await refuse(self._refusal, scope, receive, send)

    async def _run(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def limited() -> Message:
            return await self._next(receive)

        async def watched(message: Message) -> None:
            if self._refusal is None or self._started:
                self._started = self._started or message["type"] == "http.response.start"
                await send(message)

        with contextlib.suppress(_CutOffError, ClientDisconnect):  # a sender that went away gets no answer
            await self._app(scope, limited, watched)

    async def _next(self, receive: Receive) -> Message:
        if self._whole:
            return await receive()
        try:
            async with asyncio.timeout_at(self._end):
                message = await receive()
        except TimeoutError:
            self._refusal = too_slow(self._within_s)
            raise _CutOffError from None
        self._whole = not message.get("more_body", False)
        self._taken += len(message.get("body", b""))
        if self._taken > self._limit:
            self._refusal = too_large(self._limit)
            raise _CutOffError
        return message


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


def _content_length(scope: Scope) -> int | None:
    for name, value in scope["headers"]:
        if name == b"content-length" and value.isdigit():
            return int(value)
    return None
