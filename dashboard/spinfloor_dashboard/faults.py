"""A page callback that fails: logged with its traceback, and answered with the sentence the page shows instead."""

from __future__ import annotations

import json
import secrets
from typing import Final

import structlog
from dash.exceptions import PreventUpdate
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

log = structlog.get_logger("spinfloor.screens")

CALLBACKS: Final = "/_dash-"


class PageFaults:
    """Innermost of the middleware. Only answers that have not begun are replaced."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI entry."""
        if scope["type"] != "http" or not scope["path"].startswith(CALLBACKS):
            await self.app(scope, receive, send)
            return
        begun = False

        async def watched(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, receive, watched)
        except PreventUpdate:
            raise  # a callback that has nothing to say; Dash answers it
        # Whatever a callback raises is a defect of ours: it is logged here, and the other parts of the page go on.
        except Exception:
            fault = secrets.token_hex(3)
            log.exception("page defect", fault=fault, path=scope["path"])
            if begun:
                raise
            await Response(json.dumps({"detail": sentence(fault)}), 500, media_type="application/json")(
                scope, receive, send
            )


def sentence(fault: str) -> str:
    """What was expected, what came, what happens now."""
    return (
        f"Expected to fill this page; got a defect of spinfloor, logged as {fault}; "
        "the part is missing or out of date, calls go on. Reload the page to ask again."
    )
