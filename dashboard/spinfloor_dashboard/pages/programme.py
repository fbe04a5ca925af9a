"""Programme: all flights of an aircraft. How recovery and loss develop, what was learnt, surprises, open cards."""

from __future__ import annotations

import asyncio
from typing import Any

import dash
from dash import ALL, Input, Output, State, callback, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from spinfloor_dashboard.components import evidence
from spinfloor_dashboard.components import programme_parts as parts
from spinfloor_dashboard.components.ask import ask
from spinfloor_dashboard.components.common import Given, caution_line, query_value


def layout(aircraft: Given = None, **_: Given) -> Component:
    """The frame; the aircraft named in the address is fetched into it."""
    return html.Main(
        [
            dcc.Store(id="programme-query", data={"aircraft": query_value(aircraft)}),
            dcc.Store(id="programme-signed", data=0),
            html.H1("Programme", className="page-title"),
            html.P(id="programme-said", className="said", role="status"),
            html.Div(html.P("Fetching the programme …", className="busy", role="status"), id="programme-body"),
            caution_line(),
        ],
        className="page",
        id="page",
    )


dash.register_page(__name__, path="/programme", name="Programme", order=6, title="spinfloor: Programme", layout=layout)


@callback(Output("programme-body", "children"), Input("programme-query", "data"), Input("programme-signed", "data"))
async def fill(query: dict[str, str | None], _signed: int) -> Any:
    """The programme of the aircraft named, of the only one there is, or the ones to choose from."""
    listed, fault = await ask(lambda client: client.programme())
    names = (listed or {}).get("aircraft", [])
    aircraft = query["aircraft"] or (names[0] if len(names) == 1 else None)
    if fault or aircraft is None:
        return parts.choose(names, fault)
    (found, fault), (jobs, _) = await asyncio.gather(
        ask(lambda client: client.programme(aircraft)), ask(lambda client: client.reruns())
    )
    if fault:
        return html.P(fault)
    others = dcc.Link("Other aircraft", href="/programme", className="action") if len(names) > 1 else None
    return [
        html.Div(
            [html.H2(found["aircraft"]), parts.state(found), html.Span(className="spacer"), others],
            className="page-bar",
        ),
        parts.development(found["spins"]),
        html.Div([parts.cards(found), parts.surprises(found["surprises"])], className="two"),
        parts.learnt(found["kinds"], found["belief_version"]),
        evidence.evidence(found),
        parts.spin_list(found["spins"]),
        parts.again(found, jobs or []),
    ]


@callback(
    Output("programme-signed", "data"),
    Output("programme-said", "children"),
    Input({"role": "sign-off", "spin": ALL}, "n_clicks"),
    State({"role": "sign-by", "spin": ALL}, "value"),
    State({"role": "sign-reason", "spin": ALL}, "value"),
    State({"role": "sign-off", "spin": ALL}, "id"),
    State("programme-signed", "data"),
    prevent_initial_call=True,
)
async def signed(
    clicks: list[int], by: list[str | None], reasons: list[str | None], ids: list[dict[str, str]], count: int
) -> tuple[Any, str]:
    """Somebody signs a spin off; without who and why the service refuses and says so."""
    asked = ctx.triggered_id
    if not asked or not any(clicks):
        raise PreventUpdate
    place = next(i for i, identifier in enumerate(ids) if identifier["spin"] == asked["spin"])
    sortie, _, spin = asked["spin"].rpartition("|")
    who, why = by[place] or "", reasons[place] or ""
    made, fault = await ask(lambda client: client.sign_off(sortie, int(spin), by=who, reason=why))
    if fault:
        return dash.no_update, fault
    return count + 1, f"Spin {spin} of {sortie} signed off by {made['by']}. The sign-off is kept in the audit log."
