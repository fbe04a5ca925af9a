"""What surrounds every page: name, navigation, the watched sortie's chip, UTC clock, standing caution."""

from __future__ import annotations

from typing import Final

from dash import ClientsideFunction, Input, Output, clientside_callback, dcc, html
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import ADVICE

NAVIGATION: Final[tuple[tuple[str, str], ...]] = (
    ("Watch", "/"),
    ("Plan", "/plan"),
    ("Rehearse", "/rehearse"),
    ("Debrief", "/debrief"),
    ("Programme", "/programme"),
)


def layout(container: Component, *, browser_base: str, own_clips: bool) -> Component:
    """Header above the page container; both settings go to the browser as data attributes."""
    return html.Div(
        [
            dcc.Location(id="address", refresh="callback-nav"),
            html.A("Skip to the page", href="#page", className="skip"),
            html.Header(
                [
                    html.Span("spinfloor", className="product"),
                    html.Nav([_link(name, path) for name, path in NAVIGATION], **{"aria-label": "Pages"}),
                    html.Span(ADVICE, className="advice header-advice"),
                    html.Div(id="shell-watch", className="shell-watch"),
                    html.Div(id="shell-session", className="shell-session"),
                    html.Span("--:--:-- UTC", id="shell-clock", className="clock", title="Time now, UTC"),
                ],
                className="header",
            ),
            html.Div(id="shell-alert", className="shell-alert", role="alert", hidden=True),
            html.Div(id="shell-fault", className="shell-fault", role="alert", hidden=True),
            container,
            html.Div(id="shell-navigation", hidden=True),
        ],
        id="shell",
        className="shell",
        **{"data-api": browser_base, "data-clips": "yes" if own_clips else ""},
    )


def _link(name: str, path: str) -> Component:
    return dcc.Link(name, href=path, className="nav", id={"role": "nav", "path": path})


clientside_callback(
    ClientsideFunction(namespace="spinfloor_shell", function_name="navigated"),
    Output("shell-navigation", "children"),
    Input("address", "pathname"),
)
