"""One Dash app on the service's own FastAPI app: pages and assets, with what stands around them."""

from __future__ import annotations

import os
from pathlib import Path

import dash
import dash_mantine_components as dmc
from dash import Dash
from fastapi import FastAPI
from starlette.middleware import Middleware
from starlette.staticfiles import StaticFiles

from spinfloor_dashboard.components import service, shell
from spinfloor_dashboard.faults import PageFaults
from spinfloor_dashboard.headers import PageHeaders
from spinfloor_dashboard.no_such_page import NoSuchPage

PAGE = """<!DOCTYPE html>
<html lang="en">
  <head>{%metas%}<title>{%title%}</title>{%favicon%}{%css%}</head>
  <body>{%app_entry%}<footer>{%config%}{%scripts%}{%renderer%}</footer></body>
</html>"""


def mount(app: FastAPI, *, api_base: str = "", browser_base: str = "", clips: Path | None = None) -> None:
    """Add the screens to `app`; call it after every API route is on `app`.

    api_base: where Python callbacks reach the service, e.g. "http://127.0.0.1:8080"; "" means `app` itself, in this process.
    browser_base: where the browser reaches it; "" means the origin that served the page.
    clips: folder of a plan's own recorded words (made by `sound_builder`); default: SPINFLOOR_CLIPS, or none.
    """
    service.reach(app, api_base)
    clips = clips or (Path(os.environ["SPINFLOOR_CLIPS"]) if os.environ.get("SPINFLOOR_CLIPS") else None)
    if clips is not None:
        app.mount("/plan-sounds", StaticFiles(directory=clips), name="plan-sounds")
    dash_app = Dash(
        "spinfloor_dashboard.app",
        server=app,
        use_pages=True,
        title="spinfloor",
        index_string=PAGE,
        update_title="",
        suppress_callback_exceptions=True,
        add_log_handler=False,
        serve_locally=True,
        assets_ignore=r"plotly-basic.*",  # loaded where a figure is drawn (assets/63-figures.js), not on every page
    )
    dash_app.layout = lambda: dmc.MantineProvider(
        shell.layout(dash.page_container, browser_base=browser_base, own_clips=clips is not None),
        forceColorScheme="dark",
    )
    app.user_middleware.append(Middleware(PageFaults))  # innermost: Dash's own middleware swallows what fails
    app.add_middleware(NoSuchPage)
    app.add_middleware(PageHeaders, dash_app=dash_app, browser_base=browser_base)
