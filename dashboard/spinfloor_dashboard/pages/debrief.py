"""Debrief: one sortie's spins, figures, events, runs, exports and report. The address says what is shown."""

from __future__ import annotations

from typing import Any

import dash
from dash import Input, Output, State, callback, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from spinfloor_dashboard.components import debrief_parts as parts
from spinfloor_dashboard.components import spins as moments
from spinfloor_dashboard.components import timeline
from spinfloor_dashboard.components.ask import ask
from spinfloor_dashboard.components.common import caution_line, panel
from spinfloor_dashboard.components.heard import heard
from spinfloor_dashboard.components.words import day

POINTS = 1500


def layout(
    sortie: str | None = None,
    spin: str | None = None,
    t: str | None = None,
    compare: str | None = None,
    before: str | None = None,
    **_: str,
) -> Component:
    """The frame; what the address names is fetched into it."""
    query = {"sortie": sortie, "spin": spin, "t": t, "compare": compare, "before": before}
    return html.Main(
        [
            dcc.Store(id="debrief-query", data=query),
            dcc.Location(id="debrief-go", refresh="callback-nav"),
            html.Div(html.P("Fetching the sortie …", className="busy", role="status"), id="debrief-body"),
            caution_line(),
        ],
        className="page",
        id="page",
    )


dash.register_page(__name__, path="/debrief", name="Debrief", order=5, title="spinfloor: Debrief", layout=layout)


@callback(Output("debrief-body", "children"), Input("debrief-query", "data"))
async def fill(query: dict[str, str | None]) -> Any:
    """The sortie named in the address, or the ones to choose from."""
    sortie = query["sortie"]
    if not sortie:
        found, fault = await ask(lambda client: client.sorties(limit=200))
        return parts.choose(found or [], fault)
    record, fault = await ask(lambda client: client.sortie(sortie))
    if fault:
        return parts.not_there(sortie, fault)
    events, fault = await ask(lambda client: client.events(sortie))
    rows, spins_fault = await ask(lambda client: client.spins(sortie))
    if fault or spins_fault:
        return parts.not_there(sortie, fault or spins_fault or "")
    spins = moments.split(events)
    moment = parts.whole(query["t"])
    chosen = parts.chosen_spin(spins, parts.whole(query["spin"]), moment)
    other = next((s for s in spins if s.ordinal == parts.whole(query["compare"])), None)
    keep = {"spin": query["spin"], "compare": query["compare"]}
    return [
        parts.head(record, rows, len(events)),
        panel("Spins", parts.spin_table(sortie, rows, chosen), note="choose one to see its figures; margins in feet"),
        await _figures(sortie, record, events, chosen, moment),
        parts.comparison(sortie, spins, rows, chosen, other),
        panel(
            "Events",
            dcc.Graph(
                figure=timeline.strip(events, moment), config={"displayModeBar": False, "responsive": True},
                className="figure-short", id="debrief-strip",
            ),
            timeline.table(sortie, events, moment, **keep),
            note=_date(events) + "a call on the strip and each time lead to their moment; hover over a time for your own zone",
        ),
        await _heard(sortie, events),
        await _runs(sortie, query["before"]),
    ]  # fmt: skip


async def _figures(
    sortie: str, record: dict[str, Any], events: list[dict[str, Any]], spin: Any, moment: int | None
) -> Component | None:
    if spin is None:
        return None
    first, last = spin.window_ns
    columns, fault = await ask(lambda client: client.frames(sortie, from_ns=first, to_ns=last, max_points=POINTS))
    if fault:
        return panel(f"Spin {spin.ordinal}", html.P(fault))
    return parts.figures(spin, columns, moments.phase_spans(events, first, last), record["plan"]["floors"], moment)


def _date(events: list[dict[str, Any]]) -> str:
    return f"of {day(events[0]['time_ns'])}; " if events else ""


async def _heard(sortie: str, events: list[dict[str, Any]]) -> Component:
    records, fault = await ask(lambda client: client.audit(sortie))
    return panel("Calls heard", html.P(fault)) if fault else heard(events, records)


async def _runs(sortie: str, before: str | None) -> Component | None:
    runs, fault = await ask(lambda client: client.runs(sortie))
    if fault:
        return panel("Runs", html.P(fault))
    differences = None
    if before and runs["current"]:
        differences, fault = await ask(lambda client: client.run_differences(sortie, before, runs["current"]))
    return parts.runs(sortie, runs, before, differences, fault)


@callback(
    Output("debrief-go", "href"),
    Input("debrief-strip", "clickData"),
    State("debrief-query", "data"),
    prevent_initial_call=True,
)
def chosen_on_the_strip(click: dict[str, Any] | None, query: dict[str, str | None]) -> str:
    """A call on the strip leads to its moment."""
    points = (click or {}).get("points") or []
    if not points or not query["sortie"] or points[0].get("customdata") is None:
        raise PreventUpdate
    return parts.address(query["sortie"], t=int(points[0]["customdata"]))


@callback(
    Output("debrief-download", "data"),
    Input({"role": "export", "what": dash.ALL, "form": dash.ALL}, "n_clicks"),
    State("debrief-query", "data"),
    prevent_initial_call=True,
)
async def exported(clicks: list[int], query: dict[str, str | None]) -> Any:
    """Events, frames, spins or the report as a file."""
    asked, sortie = dash.ctx.triggered_id, query["sortie"]
    if not any(clicks) or not sortie or not asked:
        raise PreventUpdate
    what, form = asked["what"], asked["form"]
    content, fault = await ask(
        lambda client: client.report(sortie, form=form) if what == "report" else client.export(sortie, what, form)
    )
    if fault:
        raise PreventUpdate
    return dcc.send_bytes(content, f"{sortie}-{what}.{form}")
