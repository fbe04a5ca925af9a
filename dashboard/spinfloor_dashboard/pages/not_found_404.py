"""What is shown inside the screens where a link leads to no page; an address typed in gets `no_such_page`."""

from __future__ import annotations

import dash
from dash import dcc, html
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import empty, page
from spinfloor_dashboard.components.shell import NAVIGATION

dash.register_page(__name__, name="Not found", title="spinfloor: no such page")


def layout(**_: str) -> Component:
    """Say so and lead on."""
    links = [dcc.Link(name, href=path, className="action") for name, path in NAVIGATION]
    return page(
        "No such page",
        empty("There is no page at this address.", "Choose one of these."),
        html.Div(links, className="link-row"),
    )
