"""What the beliefs were learnt from, on Programme: each recovery, taking it back, putting it back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import ALL, Input, Output, State, callback, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from spinfloor_dashboard.components.ask import ask
from spinfloor_dashboard.components.common import action_button, badge, panel, utc_time
from spinfloor_dashboard.components.words import number, spin_name

Row = Mapping[str, Any]
WITHDRAW: Final = "withdraw"
PUT_BACK: Final = "put back"
EVERY: Final = "all"
HEAD: Final = (
    "Sortie", "Spin", "Kind", "Recovery turns", "Loss per turn, ft", "Dive and pull-out loss at 10,000 ft, ft", "Now", "",
)  # fmt: skip
ONE_LESS: Final = (
    "Withdraw {what}? From the next sortie on, altitude left is worked out without it; where it cost more height than the "
    "others, the calls come later. Its flight, report and surprises stay as they are, and it can be put back here."
)
ALL_LESS: Final = (
    "Withdraw all recoveries? From the next sortie on, only the plan's priors hold, as before the first spin. Flights, reports "
    "and surprises stay as they are, and what is withdrawn can be put back here."
)
AGAIN: Final = "Put back {what}? From the next sortie on, what was learnt from it counts again."


def evidence(found: Row) -> Component | None:
    """Every recovery that teaches or has taught; None before the first."""
    there, out = found["evidence"], found["withdrawn"]
    if not there and not out:
        return None
    rows = [_row(one, html.Span("counts"), WITHDRAW) for one in there] + [_row(one, _why(one), PUT_BACK) for one in out]
    every = [(WITHDRAW, there), (PUT_BACK, out)]
    table = html.Table([html.Thead(html.Tr([html.Th(w) for w in HEAD])), html.Tbody(rows)], className="plain numbers")
    return panel(
        "What it was learnt from",
        html.Div(
            table, className="scroll evidence", tabIndex=0, role="region", id="evidence-list",
            **{"aria-label": "Recoveries learnt from, those withdrawn last"},
        ),
        html.Div([_button(act, EVERY, f"{_verb(act)} all {len(many)} …") for act, many in every if len(many) > 1],
                 className="link-row"),
        _question(),
        dcc.Store(id="evidence-chosen", data=None),
        dcc.Store(id="evidence-aircraft", data=found["aircraft"]),
        html.P(id="evidence-said", className="said", role="status"),
        note="withdraw what does not speak for this aircraft: another loading or configuration, wrong telemetry",
    )  # fmt: skip


def _verb(act: str) -> str:
    return "Withdraw" if act == WITHDRAW else "Put back"


def _button(act: str, which: str, words: str) -> Component:
    button = action_button(words, identifier="x")
    button.id = {"role": "evidence-ask", "act": act, "spin": which}
    return button


def _row(one: Row, now: Component, act: str) -> Component:
    which = f"{one['sortie']}|{one['spin']}"
    button = _button(act, which, f"{_verb(act)} …")
    setattr(button, "aria-label", f"{_verb(act)} {_named(which)}")
    where = "/debrief?" + urlencode({"sortie": one["sortie"], "spin": one["spin"]})
    return html.Tr(
        [
            html.Td(one["sortie"]),
            html.Td(dcc.Link(str(one["spin"]), href=where)),
            html.Td([spin_name(dict(one)), " ", badge("surprise", "caution") if one["surprise"] else ""]),
            html.Td(number(one["recovery_turns"], 2)),
            html.Td(number(one["loss_per_turn_ft"])),
            html.Td(number(one["pull_out_loss_ft"] * one["density_ratio"])),
            html.Td(now),
            html.Td(button),
        ]
    )


def _why(one: Row) -> Component:
    return html.Span([badge("withdrawn"), f" by {one['by']}, ", utc_time(one["at_ns"]), f": {one['reason']}"])


def _named(which: str) -> str:
    sortie, _, spin = which.rpartition("|")
    return f"spin {spin} of {sortie}"


def _question() -> Component:
    return html.Div(
        [
            html.P(id="evidence-words"),
            html.Div(
                [
                    dmc.TextInput(id="evidence-by", label="Who (role)", size="sm", className="field"),
                    dmc.TextInput(id="evidence-reason", label="Why", size="sm", className="field"),
                    html.Div(
                        [
                            action_button("Yes", identifier="evidence-yes", primary=True),
                            action_button("No", identifier="evidence-no"),
                        ],
                        className="link-row",
                    ),
                ],
                className="sign-off",
            ),
        ],
        id="evidence-question", hidden=True,
    )  # fmt: skip


def question(act: str, which: str) -> tuple[str, str]:
    """What is asked before anything is changed, and the words of the button that does it."""
    what = "all recoveries" if which == EVERY else _named(which)
    words = AGAIN if act == PUT_BACK else ALL_LESS if which == EVERY else ONE_LESS
    return words.format(what=what), f"Yes, {act} {what}"


@callback(
    Output("evidence-question", "hidden"),
    Output("evidence-words", "children"),
    Output("evidence-yes", "children"),
    Output("evidence-chosen", "data"),
    Output("evidence-said", "children"),
    Input({"role": "evidence-ask", "act": ALL, "spin": ALL}, "n_clicks"),
    Input("evidence-no", "n_clicks"),
    prevent_initial_call=True,
)
def asked(clicks: list[int], _no: int) -> tuple[Any, ...]:
    """The question before anything is withdrawn or put back; *No* takes it away."""
    pressed = ctx.triggered_id
    if pressed == "evidence-no":
        return True, "", no_update, None, ""
    if not isinstance(pressed, Mapping) or not any(clicks):
        raise PreventUpdate
    chosen = {"act": pressed["act"], "spin": pressed["spin"]}
    words, yes = question(chosen["act"], chosen["spin"])
    return False, words, yes, chosen, ""


@callback(
    Output("programme-signed", "data", allow_duplicate=True),
    Output("programme-said", "children", allow_duplicate=True),
    Output("evidence-said", "children", allow_duplicate=True),
    Input("evidence-yes", "n_clicks"),
    State("evidence-by", "value"),
    State("evidence-reason", "value"),
    State("evidence-chosen", "data"),
    State("evidence-aircraft", "data"),
    State("programme-signed", "data"),
    prevent_initial_call=True,
)
async def done(
    clicks: int, by: str | None, reason: str | None, chosen: dict[str, str] | None, aircraft: str, count: int
) -> tuple[Any, ...]:
    """Withdraw or put back; without who and why, or the role for it, the service refuses and says so."""
    if not clicks or not chosen:
        raise PreventUpdate
    if not (by or "").strip() or not (reason or "").strip():
        return no_update, no_update, "Say who you are and why; nothing was changed."
    one = {}
    if chosen["spin"] != EVERY:
        sortie, _, spin = chosen["spin"].rpartition("|")
        one = {"sortie": sortie, "spin": int(spin)}

    async def change(client: Any) -> Any:
        do = client.withdraw if chosen["act"] == WITHDRAW else client.put_back
        return await do(aircraft, by=by, reason=reason, **one)

    made, fault = await ask(change)
    if fault:
        return no_update, no_update, fault
    what = "All recoveries" if chosen["spin"] == EVERY else _named(chosen["spin"]).capitalize()
    did = "withdrawn" if chosen["act"] == WITHDRAW else "put back"
    said = f"{what} {did} by {by}. Beliefs are at version {made['version']}; it is kept in the audit log."
    return count + 1, said, said
