"""Debrief: one sortie's spins, figures, events, runs, exports and report. The address says what is shown.

The spin table comes first; figures, events and runs are asked for once it stands.
"""

from __future__ import annotations

import asyncio
from typing import Any

import dash
from dash import ClientsideFunction, Input, Output, State, callback, clientside_callback, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from spinfloor_dashboard.components import debrief_parts as parts
from spinfloor_dashboard.components import reprocess, timeline
from spinfloor_dashboard.components import spins as moments
from spinfloor_dashboard.components.ask import ask
from spinfloor_dashboard.components.common import Given, caution_line, panel, query_value
from spinfloor_dashboard.components.heard import heard
from spinfloor_dashboard.components.notes import ALL, notes
from spinfloor_dashboard.components.words import day

POINTS = 1500
LATER = (
    ("figures", "Figures"),
    ("notes", "Notes after the flight"),
    ("events", "Events"),
    ("heard", "Calls heard"),
    ("runs", "Runs"),
)
Found = dict[str, Any] | None


def layout(
    sortie: Given = None,
    spin: Given = None,
    t: Given = None,
    compare: Given = None,
    before: Given = None,
    **_: Given,
) -> Component:
    """The frame; what the address names is fetched into it."""
    given = {"sortie": sortie, "spin": spin, "t": t, "compare": compare, "before": before}
    query = {name: query_value(value) for name, value in given.items()}
    later = [
        html.Div(panel(title, html.P("Fetching …", className="busy")), id=f"debrief-{name}") for name, title in LATER
    ]
    return html.Main(
        [
            dcc.Store(id="debrief-query", data=query),
            dcc.Store(id="debrief-found"),
            dcc.Location(id="debrief-go", refresh="callback-nav"),
            html.Div(
                [
                    html.Div(html.P("Fetching the sortie …", className="busy", role="status"), id="debrief-top"),
                    *(later if query["sortie"] else ()),
                    html.Div(id="debrief-listed", hidden=True),
                ],
                id="debrief-body",
            ),
            caution_line(),
        ],
        className="page",
        id="page",
    )


dash.register_page(__name__, path="/debrief", name="Debrief", order=5, title="spinfloor: Debrief", layout=layout)


@callback(Output("debrief-top", "children"), Output("debrief-found", "data"), Input("debrief-query", "data"))
async def fill(query: dict[str, str | None]) -> tuple[Any, Found]:
    """The spins of the sortie named in the address, or the sorties to choose from."""
    sortie = query["sortie"]
    if not sortie:
        found, fault = await ask(lambda client: client.sorties(limit=1000))
        return parts.choose(found or [], fault), None
    (record, fault), (rows, spins_fault) = await asyncio.gather(
        ask(lambda client: client.sortie(sortie)), ask(lambda client: client.spins(sortie))
    )
    if fault or spins_fault:
        return parts.not_there(sortie, fault or spins_fault or ""), {"sortie": None}
    chosen = parts.chosen_spin(rows, parts.whole(query["spin"]), parts.whole(query["t"]))
    top = [
        parts.head(record, rows),
        panel(
            "Spins",
            parts.spin_table(sortie, rows, chosen),
            note="choose one to see its figures; loss down to level flight, margins above the recovery floor",
        ),
    ]
    return top, {**query, "chosen": chosen, "floors": record["plan"]["floors"], "rows": rows}


@callback(Output("debrief-figures", "children"), Input("debrief-found", "data"), prevent_initial_call=True)
async def drawn(found: Found) -> list[Any]:
    """The figures of the spin chosen, and its comparison with another."""
    if not found or not found["sortie"]:
        return []
    sortie = found["sortie"]
    events, fault = await ask(lambda client: client.events(sortie))
    if fault:
        return [panel("Figures", html.P(fault))]
    spins = moments.split(events)
    chosen = next((spin for spin in spins if spin.ordinal == found["chosen"]), None)
    if chosen is None:
        return []
    other = next((spin for spin in spins if spin.ordinal == parts.whole(found["compare"])), None)
    return [
        await _figures(found, events, chosen),
        parts.comparison(sortie, spins, found["rows"], chosen, other),
    ]


async def _figures(found: dict[str, Any], events: list[dict[str, Any]], spin: moments.SpinMoments) -> Component:
    first, last = spin.window_ns
    columns, fault = await ask(
        lambda client: client.frames(found["sortie"], from_ns=first, to_ns=last, max_points=POINTS)
    )
    if fault:
        return panel(f"Spin {spin.ordinal}", html.P(fault))
    phases = moments.phase_spans(events, first, last)
    floors = moments.floors_at(events, found["floors"], spin)
    return parts.figures(spin, columns, phases, floors, parts.whole(found["t"]))


@callback(
    Output("debrief-events", "children"),
    Output("debrief-heard", "children"),
    Output("debrief-notes", "children"),
    Input("debrief-found", "data"),
    prevent_initial_call=True,
)
async def listed(found: Found) -> tuple[Any, Any, Any]:
    """Every event, which calls were heard, and what was noted."""
    if not found or not found["sortie"]:
        return [], [], []
    sortie = found["sortie"]
    (events, fault), (records, audit_fault) = await asyncio.gather(
        ask(lambda client: client.events(sortie)), ask(lambda client: client.audit(sortie))
    )
    if fault:
        return panel("Events", html.P(fault)), [], []
    moment = parts.whole(found["t"])
    strip = dcc.Graph(
        figure=timeline.strip(events, moment), config={"displayModeBar": False, "responsive": True},
        className="figure-short", id="debrief-strip",
    )  # fmt: skip
    keep = {"spin": found["spin"], "compare": found["compare"]}
    shown = panel("Events", strip, timeline.table(sortie, events, moment, **keep), note=_note(events))
    if audit_fault:
        return shown, panel("Calls heard", html.P(audit_fault)), panel("Notes after the flight", html.P(audit_fault))
    return shown, heard(events, records), notes(records, _ordinals(found), found["chosen"])


def _ordinals(found: dict[str, Any]) -> list[int]:
    return [int(row["spin"]) for row in found["rows"]]


@callback(
    Output("debrief-notes", "children", allow_duplicate=True),
    Output("note-said", "children"),
    Input("note-add", "n_clicks"),
    State("note-by", "value"),
    State("note-about", "value"),
    State("note-text", "value"),
    State("debrief-found", "data"),
    prevent_initial_call=True,
)
async def noted(clicks: int, by: str | None, about: str, text: str | None, found: Found) -> tuple[Any, Any]:
    """A note is added and shown; without who and what it is not."""
    if not clicks or not found:
        raise PreventUpdate
    if not (by or "").strip() or not (text or "").strip():
        return dash.no_update, "Expected who notes it and what; got an empty field; nothing was noted."
    sortie, spin = found["sortie"], None if about == ALL else int(about)
    _, fault = await ask(lambda client: client.note(sortie, str(text), by=str(by), spin=spin))
    if fault:
        return dash.no_update, fault
    records, fault = await ask(lambda client: client.audit(sortie))
    return (dash.no_update, fault) if fault else (notes(records, _ordinals(found), spin, "Noted."), dash.no_update)


def _note(events: list[dict[str, Any]]) -> str:
    if not events:
        return ""
    words = "a call on the strip and each time lead to their moment; hover over a time for your own zone"
    return f"of {day(events[0]['time_ns'])}; {words}"


clientside_callback(
    ClientsideFunction(namespace="spinfloor_events", function_name="draw"),
    Output("debrief-listed", "children"),
    Input("debrief-rows", "data"),
)


@callback(Output("debrief-runs", "children"), Input("debrief-found", "data"), prevent_initial_call=True)
async def runs_of(found: Found) -> Any:
    """The runs of the sortie, and what the one in force changed against another."""
    if not found or not found["sortie"]:
        return []
    sortie, before = found["sortie"], found["before"]
    (runs, fault), (jobs, _) = await asyncio.gather(
        ask(lambda client: client.runs(sortie)), ask(lambda client: client.reruns())
    )
    if fault:
        return panel("Runs", html.P(fault))
    job = reprocess.latest(jobs or [], {"sorties": [sortie]})
    differences = None
    if before and runs["current"]:
        differences, fault = await ask(lambda client: client.run_differences(sortie, before, runs["current"]))
    return parts.runs(sortie, runs, before, differences, fault, job)


# A call on the strip leads to its moment.
clientside_callback(
    ClientsideFunction(namespace="spinfloor_events", function_name="chosen"),
    Output("debrief-go", "href"),
    Input("debrief-strip", "clickData"),
    State("debrief-query", "data"),
    prevent_initial_call=True,
)


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
