"""An address that is no page is answered 404 with a page that says so; Dash would answer it 200 with an empty shell."""

from __future__ import annotations

from html import escape
from typing import Final

import dash
from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from spinfloor_dashboard.components.common import ADVICE
from spinfloor_dashboard.components.shell import NAVIGATION
from spinfloor_dashboard.headers import is_page

NONE: Final = "not_found_404"  # Dash's name for what is shown where there is no page

PAGE: Final = """<!DOCTYPE html>
<html lang="en">
  <head><meta charset="utf-8"><title>spinfloor: no such page</title><link rel="stylesheet" href="/assets/00-theme.css"></head>
  <body>
    <main class="page" id="page">
      <h1 class="page-title">No such page</h1>
      <p class="page-lead">Expected one of the pages below; got {path}, which is none of them; nothing was done.</p>
      <nav aria-label="Pages"><ul>{links}</ul></nav>
      <p class="advice">{advice}</p>
    </main>
  </body>
</html>
"""


class NoSuchPage:
    """Replaces the shell that Dash sends for any address; whatever else is answered there is left alone."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI entry."""
        if scope["type"] != "http" or _there_is(scope["path"]):
            await self.app(scope, receive, send)
            return
        replaced = False

        async def checked(message: Message) -> None:
            nonlocal replaced
            if (
                message["type"] == "http.response.start"
                and message["status"] == 200
                and is_page(scope["path"], message)
            ):
                replaced = True
                await HTMLResponse(_words(scope["path"]), 404)(scope, receive, send)
            if not replaced:
                await send(message)

        await self.app(scope, receive, checked)


def _there_is(path: str) -> bool:
    pages = (page for module, page in dash.page_registry.items() if not module.endswith(NONE))
    return path.strip("/") in {page["path"].strip("/") for page in pages}


def _words(path: str) -> str:
    links = "".join(f'<li><a href="{there}">{name}</a></li>' for name, there in NAVIGATION)
    return PAGE.format(path=escape(path[:200]), links=links, advice=ADVICE)
