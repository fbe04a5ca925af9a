"""Rehearse: play a recording with things going wrong on the Watch screen, and score who called what when."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

import dash
import dash_mantine_components as dmc
from dash import ALL, Input, Output, State, callback, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from spinfloor_dashboard.components import rehearse_parts as parts
from spinfloor_dashboard.components.ask import ask
from spinfloor_dashboard.components.common import Given, action_button, caution_line, empty, panel, query_value

SECONDS = "seconds since the recording's start"
SPEEDS = ("0.5", "1", "2", "4", "10")


def layout(recording: Given = None, sortie: Given = None, **_: Given) -> Component:
    """The page; `recording` in the address is chosen, `sortie` names the rehearsal whose score is shown."""
    return html.Main(
        [
            dcc.Store(id="rehearse-query", data={"recording": query_value(recording), "sortie": query_value(sortie)}),
            dcc.Location(id="rehearse-go", refresh="callback-nav"),
            html.H1("Rehearse", className="page-title"),
            html.P("A recording, played as if it came from the aircraft. Nothing is learnt from a rehearsal.",
                   className="page-lead"),
            html.Div(id="rehearse-score"),
            html.Div(
                [
                    panel("1. Recording", html.Div(html.P("Fetching …", className="busy"), id="rehearse-recordings")),
                    html.Div([panel("2. Plan, speed and crew", _settings(), id_note()),
                              panel("3. What goes wrong", parts.fault_form(), _start(), note=SECONDS),
                              panel("Rehearsals so far", html.Div(id="rehearse-list"))]),
                ],
                className="wide-right",
            ),
            caution_line(),
        ],
        className="page",
        id="page",
    )  # fmt: skip


def id_note() -> Component:
    """What the crew setting means."""
    return html.P(
        "Crew early or late: whole turns of the spin are cut or flown again before the recovery.", className="soft"
    )


def _settings() -> Component:
    return html.Div(
        [
            dmc.Select(
                id="rehearse-plan", label="Plan", size="sm", className="field", allowDeselect=False, value="recording",
                data=[{"value": "recording", "label": "the recording's own"},
                      {"value": "draft", "label": "the one on the Plan page"}],
            ),
            dmc.Select(id="rehearse-speed", label="Speed, times real time", size="sm", className="field", value="1",
                       data=list(SPEEDS), allowDeselect=False),
            dmc.Select(
                id="rehearse-crew", label="Crew response", size="sm", className="field", value="0", allowDeselect=False,
                data=[{"value": str(n), "label": _crew_words(n)} for n in range(-2, 5)],
            ),
            dcc.Store(id="plan-draft", storage_type="local"),
        ],
        className="field-grid",
    )  # fmt: skip


def _by_kind(identifiers: list[dict[str, str]], values: list[str]) -> dict[str, str]:
    return {identifier["kind"]: value for identifier, value in zip(identifiers, values, strict=True)}


def _crew_words(turns: int) -> str:
    if turns == 0:
        return "as recorded"
    return f"{abs(turns)} {'turn' if abs(turns) == 1 else 'turns'} {'late' if turns > 0 else 'early'}"


def _start() -> Component:
    return html.Div(
        [action_button("Start, and go to Watch", identifier="rehearse-start", primary=True),
         html.Span(id="rehearse-said", className="soft", role="status")],
        className="button-row",
    )  # fmt: skip


dash.register_page(__name__, path="/rehearse", name="Rehearse", order=4, title="spinfloor: Rehearse", layout=layout)


@callback(
    Output("rehearse-recordings", "children"),
    Output("rehearse-list", "children"),
    Output("rehearse-score", "children"),
    Output("rehearse-start", "disabled"),
    Input("rehearse-query", "data"),
)
async def fill(query: dict[str, str | None]) -> tuple[Any, ...]:
    """Recordings, rehearsals so far and the score asked for."""
    found, fault = await ask(lambda client: client.recordings())
    sorties, _ = await ask(lambda client: client.sorties(limit=500))
    library = html.P(fault) if fault else parts.recordings(found, query["recording"])
    sheet: Any = None
    sortie = query["sortie"]
    if sortie:
        scored, fault = await ask(lambda client: client.score(sortie))
        sheet = parts.score_sheet(scored) if scored else panel("Score sheet", empty("No score.", fault or ""))
    return library, parts.rehearsals(sorties or []), sheet, not query["recording"]


@callback(
    Output("rehearse-go", "href"),
    Output("rehearse-said", "children"),
    Input("rehearse-start", "n_clicks"),
    State("rehearse-query", "data"),
    State("rehearse-plan", "value"),
    State("rehearse-speed", "value"),
    State("rehearse-crew", "value"),
    State({"role": "fault-on", "kind": ALL}, "checked"),
    State({"role": "fault-from", "kind": ALL}, "value"),
    State({"role": "fault-to", "kind": ALL}, "value"),
    State({"role": "fault-channel", "kind": ALL}, "value"),
    State({"role": "fault-channel", "kind": ALL}, "id"),
    State({"role": "fault-value", "kind": ALL}, "value"),
    State({"role": "fault-value", "kind": ALL}, "id"),
    State("plan-draft", "data"),
    prevent_initial_call=True,
)
async def started(
    clicks: int, query: dict[str, str | None], plan: str, speed: str, crew: str, on: list[bool], begin: list[str],
    end: list[str], channels: list[str], channel_ids: list[dict[str, str]], values: list[str],
    value_ids: list[dict[str, str]], draft: dict[str, Any] | None,
) -> tuple[Any, Any]:  # fmt: skip
    """Start the rehearsal and go to Watch."""
    recording = query["recording"]
    if not clicks or not recording:
        raise PreventUpdate
    try:
        faults = parts.faults_from(on, begin, end, _by_kind(channel_ids, channels), _by_kind(value_ids, values))
    except ValueError as exc:
        return dash.no_update, str(exc)
    options: dict[str, Any] = {"speed": float(speed), "crew_response_turns": int(crew), "faults": faults}
    if plan == "draft":
        options["plan"] = (draft or {}).get("plan") or {}
    made, fault = await ask(lambda client: client.start_replay(recording, **options))
    if fault:
        return dash.no_update, fault
    return "/?" + urlencode({"sortie": made["sortie"]}), "Started."
