"""Watch: the live screen. Layout only; `assets/` fills it from the live WebSocket."""

from __future__ import annotations

import dash
from dash import html
from dash.development.base_component import Component

from spinfloor_dashboard.components import watch_parts
from spinfloor_dashboard.components.common import Given, query_value


def layout(sortie: Given = None, **_: Given) -> Component:
    """The Watch page; `sortie` in the address picks the sortie, else the newest with a link is taken."""
    return html.Main(
        [
            html.H1("Watch", className="unseen"),
            watch_parts.top(),
            watch_parts.replay_bar(),
            watch_parts.health(),
            watch_parts.call_band(),
            watch_parts.glance(),
            watch_parts.pictures(),
            watch_parts.keys(),
        ],
        id="page",
        className="watch",
        **{"data-sortie": query_value(sortie) or "", "data-live": "no"},
    )


dash.register_page(__name__, path="/", name="Watch", order=1, title="spinfloor: Watch", layout=layout)
dash.register_page("watch_by_name", path="/watch", name="Watch", order=2, title="spinfloor: Watch", layout=layout)
