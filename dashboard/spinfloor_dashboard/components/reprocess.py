"""Reprocessing on Debrief: a sortie through the detector again as a new run, with its progress. The flown run stays."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import urlencode

import dash_mantine_components as dmc
import yaml
from dash import Input, Output, State, callback, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from spinfloor_dashboard.components.ask import ask
from spinfloor_dashboard.components.common import action_button, badge
from spinfloor_dashboard.components.words import plural

LOOK_EVERY_MS: Final = 400
BELIEFS: Final = (("as flown", "as flown"), ("priors", "the plan's priors alone"), ("now", "all learnt by now"))


def form() -> Component:
    """What may be different, the button, the progress."""
    return html.Div(
        [
            dmc.Textarea(
                id="rerun-plan", label="Changes to the plan, YAML (empty: none)", size="sm",
                className="field", minRows=1, autosize=True,
                placeholder="aircraft: {altimeter_lag_s: 0.6}", w=380,
            ),
            dmc.Select(
                id="rerun-beliefs", label="Beliefs", size="sm", className="field", value="as flown", w=220,
                allowDeselect=False, data=[{"value": value, "label": words} for value, words in BELIEFS],
            ),
            action_button("Reprocess as a new run", identifier="rerun-start"),
            action_button("Stop", identifier="rerun-stop"),
            dcc.Store(id="rerun-job"),
            dcc.Interval(id="rerun-look", interval=LOOK_EVERY_MS, disabled=True),
            html.Div(id="rerun-progress", className="rerun-progress", role="status"),
        ],
        className="link-row rerun",
    )  # fmt: skip


def changes(text: str | None) -> dict[str, Any]:
    """The changes as a mapping. Raises ValueError with a sentence."""
    try:
        found = yaml.safe_load(text or "") or {}
    except yaml.YAMLError as exc:
        raise ValueError(f"Expected YAML; {str(exc).splitlines()[0]}; nothing was reprocessed.") from None
    if not isinstance(found, dict):
        raise ValueError(f"Expected fields of a plan as YAML; got {text!r}; nothing was reprocessed.")
    return found


def progress(job: Mapping[str, Any], sortie: str) -> list[Any]:
    """How far it has got: a bar and a percentage, and in the end what came out."""
    share = 100.0 * job["frames_done"] / job["frames"] if job["frames"] else 0.0
    mine: Mapping[str, Any] = next((one for one in job["sorties"] if one["sortie"] == sortie), {})
    if job["state"] == "running":
        bar = html.Progress(value=f"{share:.0f}", max="100", **{"aria-label": "Reprocessed"})
        return [bar, f" {share:.0f} % of {plural(job['frames'], 'frame')}"]
    if mine.get("problem"):
        return [badge("not reprocessed", "caution"), f" {mine['problem']}"]
    if job["state"] == "cancelled" or not mine.get("run"):
        return [badge("stopped"), " nothing was kept of this sortie"]
    if mine["same"]:
        return [badge("100 %, done", "good"), f" {mine['run']}: no spin or call differs from the flown run"]
    said = f" {mine['run']}: {plural(mine['spins_changed'] or 0, 'spin')} and {plural(mine['calls_changed'] or 0, 'call')} differ: "
    where = "/debrief?" + urlencode({"sortie": sortie, "before": mine["run"]})
    return [badge("100 %, done", "good"), said, dcc.Link("see the differences", href=where)]


@callback(
    Output("rerun-job", "data"),
    Output("rerun-look", "disabled", allow_duplicate=True),
    Output("rerun-progress", "children", allow_duplicate=True),
    Input("rerun-start", "n_clicks"),
    State("rerun-plan", "value"),
    State("rerun-beliefs", "value"),
    State("debrief-query", "data"),
    prevent_initial_call=True,
)
async def begun(clicks: int, text: str | None, beliefs: str, query: dict[str, str | None]) -> tuple[Any, Any, Any]:
    """Start a rerun of the sortie shown."""
    sortie = query["sortie"]
    if not clicks or not sortie:
        raise PreventUpdate
    try:
        patch = changes(text)
    except ValueError as exc:
        return no_update, True, str(exc)
    job, fault = await ask(lambda client: client.start_rerun(sorties=[sortie], plan=patch, beliefs=beliefs))
    if fault:
        return no_update, True, fault
    return job["id"], False, progress(job, sortie)


@callback(
    Output("rerun-progress", "children"),
    Output("rerun-look", "disabled"),
    Input("rerun-look", "n_intervals"),
    State("rerun-job", "data"),
    State("debrief-query", "data"),
    prevent_initial_call=True,
)
async def looked(_times: int, job: str | None, query: dict[str, str | None]) -> tuple[Any, bool]:
    """Ask how far it is until it has ended."""
    sortie = query["sortie"]
    if not job or not sortie:
        raise PreventUpdate
    found, fault = await ask(lambda client: client.rerun(job))
    if fault:
        return fault, True
    return progress(found, sortie), found["state"] != "running"


@callback(
    Output("rerun-progress", "children", allow_duplicate=True),
    Input("rerun-stop", "n_clicks"),
    State("rerun-job", "data"),
    prevent_initial_call=True,
)
async def stopped(clicks: int, job: str | None) -> Any:
    """Stop it; the flown run was never touched."""
    if not clicks or not job:
        raise PreventUpdate
    _, fault = await ask(lambda client: client.cancel_rerun(job))
    return fault or no_update
