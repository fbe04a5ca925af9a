"""What an address without a page shows."""

from __future__ import annotations

import dash
from dash import dcc
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import empty, page

dash.register_page(__name__, name="Not found", title="spinfloor: no such page")


def layout(**_: str) -> Component:
    """Say so and lead back."""
    return page(
        "No such page",
        empty("There is no page at this address.", "Choose one above, or go back to Watch."),
        dcc.Link("Go to Watch", href="/"),
    )
