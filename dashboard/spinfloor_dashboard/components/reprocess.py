"""Reprocessing: a sortie (Debrief) or every flight (Programme) through the detector again as new runs, with progress.

The flown runs stay in force.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final
from urllib.parse import urlencode

import dash_mantine_components as dmc
import yaml
from dash import Input, Output, State, callback, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from spinfloor_dashboard.components.ask import ask
from spinfloor_dashboard.components.common import action_button, badge
from spinfloor_dashboard.components.words import plural

Row = Mapping[str, Any]
LOOK_EVERY_MS: Final = 400
BELIEFS: Final = (("as flown", "as flown"), ("priors", "the plan's priors alone"), ("now", "all learnt by now"))


def form(scope: Row, job: Row | None = None) -> Component:
    """What may be different, the button, the progress. scope: {"sorties": [...]} or an aircraft's {..., "aircraft"}.

    A whole programme is asked about once more before it starts; nothing is lost by it, but it takes a while.
    """
    count = len(scope["sorties"])
    whole = "aircraft" in scope
    running = job is not None and job["state"] == "running"
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
            *((_ask(count),) if whole else (action_button("Reprocess as a new run", identifier="rerun-start"),)),
            _stop(running),
            dcc.Store(id="rerun-scope", data=dict(scope)),
            dcc.Store(id="rerun-job", data=job["id"] if job else None),
            dcc.Interval(id="rerun-look", interval=LOOK_EVERY_MS, disabled=not running),
            html.Div(progress(job, scope) if job else None, id="rerun-progress", className="rerun-progress",
                     role="status"),
        ],
        className="link-row rerun",
    )  # fmt: skip


def _stop(running: bool) -> Component:
    button = action_button("Stop", identifier="rerun-stop")
    button.disabled = not running
    return button


def _ask(count: int) -> Component:
    return html.Div(
        [
            action_button(f"Reprocess {plural(count, 'flight')} …", identifier="rerun-ask"),
            html.Div(
                [
                    html.Span("Each flight gets a new run beside its flown one, which stays in force. Go on?"),
                    action_button(f"Yes, reprocess {plural(count, 'flight')}", identifier="rerun-start", primary=True),
                    action_button("No", identifier="rerun-not"),
                ],
                id="rerun-sure",
                className="link-row",
                hidden=True,
            ),
        ]
    )


def latest(jobs: Sequence[Row], scope: Row) -> Row | None:
    """The newest job of the scope: of all its sorties for an aircraft, else of the one."""
    wanted = set(scope["sorties"])
    fitting = [job for job in jobs if {one["sortie"] for one in job["sorties"]} == wanted]
    return fitting[-1] if fitting else None


def changes(text: str | None) -> dict[str, Any]:
    """The changes as a mapping. Raises ValueError with a sentence."""
    try:
        found = yaml.safe_load(text or "") or {}
    except yaml.YAMLError as exc:
        raise ValueError(f"Expected YAML; {str(exc).splitlines()[0]}; nothing was reprocessed.") from None
    if not isinstance(found, dict):
        raise ValueError(f"Expected fields of a plan as YAML; got {text!r}; nothing was reprocessed.")
    return found


def progress(job: Row, scope: Row) -> list[Any]:
    """How far it has got: a bar and a percentage, and in the end what came out."""
    if job["state"] == "running":
        share = 100.0 * job["frames_done"] / job["frames"] if job["frames"] else 0.0
        bar = html.Progress(value=f"{share:.0f}", max="100", **{"aria-label": "Reprocessed"})
        of = (
            f", {job['sorties_done']} of {plural(len(job['sorties']), 'flight')} done"
            if len(job["sorties"]) > 1
            else ""
        )
        return [bar, f" {share:.0f} % of {plural(job['frames'], 'frame')}{of}"]
    if "aircraft" in scope:
        return [_overall(job), _outcomes(job)]
    sortie = scope["sorties"][0]
    mine: Row = next((one for one in job["sorties"] if one["sortie"] == sortie), {})
    return _outcome(mine, job)


def _outcome(mine: Row, job: Row) -> list[Any]:
    if mine.get("problem"):
        return [badge("not reprocessed", "fault"), f" {mine['problem']}"]
    if job["state"] == "cancelled" or not mine.get("run"):
        return [badge("stopped"), " nothing was kept of this sortie"]
    if mine["same"]:
        return [badge("100 %, done", "good"), f" {mine['run']}: no spin or call differs from the flown run"]
    return [badge("100 %, done", "good"), f" {mine['run']}: {_differs(mine)}: ", _see(mine)]


def _differs(one: Row) -> str:
    return f"{plural(one['spins_changed'] or 0, 'spin')} and {plural(one['calls_changed'] or 0, 'call')} differ"


def _see(one: Row) -> Component:
    where = "/debrief?" + urlencode({"sortie": one["sortie"], "before": one["run"]})
    return dcc.Link("see the differences", href=where)


def _overall(job: Row) -> Component:
    made = [one for one in job["sorties"] if one["run"]]
    failed = [one for one in job["sorties"] if one["problem"]]
    same = [one for one in made if one["same"]]
    words = [
        badge("stopped") if job["state"] == "cancelled" else badge("100 %, done", "good"),
        html.Span(
            f"{plural(len(made), 'flight')} reprocessed, {len(same)} the same, {len(made) - len(same)} different"
        ),
    ]
    if failed:
        words.append(badge(f"{plural(len(failed), 'flight')} not reprocessed", "fault"))
    return html.Div(words, className="link-row")


def _outcomes(job: Row) -> Component:
    def line(one: Row) -> Component:
        if one["problem"]:
            said: Any = one["problem"]
        elif not one["run"]:
            said = "stopped; nothing was kept of it"
        else:
            said = "no spin or call differs" if one["same"] else [_differs(one), ": ", _see(one)]
        return html.Tr([html.Th(one["sortie"], scope="row"), html.Td(one["run"] or "none"), html.Td(said)])

    head = html.Tr([html.Th(words) for words in ("Flight", "New run", "Against the flown run")])
    return html.Div(
        html.Table([html.Thead(head), html.Tbody([line(one) for one in job["sorties"]])], className="plain"),
        className="scroll", tabIndex=0, role="region", id="rerun-outcomes", **{"aria-label": "Flights reprocessed"},
    )  # fmt: skip


@callback(
    Output("rerun-sure", "hidden"),
    Input("rerun-ask", "n_clicks"),
    Input("rerun-not", "n_clicks"),
    Input("rerun-start", "n_clicks"),
    prevent_initial_call=True,
)
def asked(*_clicks: int) -> bool:
    """The question before a whole programme is put through again."""
    return ctx.triggered_id != "rerun-ask"


@callback(
    Output("rerun-job", "data"),
    Output("rerun-look", "disabled", allow_duplicate=True),
    Output("rerun-progress", "children", allow_duplicate=True),
    Output("rerun-stop", "disabled", allow_duplicate=True),
    Input("rerun-start", "n_clicks"),
    State("rerun-plan", "value"),
    State("rerun-beliefs", "value"),
    State("rerun-scope", "data"),
    prevent_initial_call=True,
)
async def begun(clicks: int, text: str | None, beliefs: str, scope: dict[str, Any]) -> tuple[Any, ...]:
    """Start a rerun of the sortie or the programme shown."""
    if not clicks:
        raise PreventUpdate
    try:
        patch = changes(text)
    except ValueError as exc:
        return no_update, True, str(exc), True
    job, fault = await ask(lambda client: client.start_rerun(sorties=scope["sorties"], plan=patch, beliefs=beliefs))
    if fault:
        return no_update, True, fault, True
    return job["id"], False, progress(job, scope), False


@callback(
    Output("rerun-progress", "children"),
    Output("rerun-look", "disabled"),
    Output("rerun-stop", "disabled"),
    Input("rerun-look", "n_intervals"),
    State("rerun-job", "data"),
    State("rerun-scope", "data"),
    prevent_initial_call=True,
)
async def looked(_times: int, job: str | None, scope: dict[str, Any]) -> tuple[Any, bool, bool]:
    """Ask how far it is until it has ended."""
    if not job:
        raise PreventUpdate
    found, fault = await ask(lambda client: client.rerun(job))
    if fault:
        return fault, True, True
    ended = found["state"] != "running"
    return progress(found, scope), ended, ended


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
