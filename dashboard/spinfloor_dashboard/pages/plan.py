"""Plan: edit, check, import, export, the height each card needs, and the build-up with its gate."""

from __future__ import annotations

from typing import Any

import dash
from dash import ALL, Input, Output, State, callback, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from spinfloor_dashboard.components import cards_grid, drafts, plan_form, plan_panels, plan_text
from spinfloor_dashboard.components.ask import ask
from spinfloor_dashboard.components.common import Given, action_button, caution_line, panel, query_value
from spinfloor_dashboard.components.plan_fields import BY_PATH, faults_by_card, faults_by_field, put, read_back

FIELD_IDS = {"role": "plan-field", "path": ALL}


def layout(sortie: Given = None, recording: Given = None, **_: Given) -> Component:
    """The page; `sortie` or `recording` in the address brings that one's plan in."""
    return html.Main(
        [
            dcc.Store(id="plan-draft", storage_type="local"),
            dcc.Store(id="plan-from", data={"sortie": query_value(sortie), "recording": query_value(recording)}),
            dcc.Store(id="plan-defaults"),
            dcc.Download(id="plan-download"),
            _bar(),
            html.P(id="plan-said", className="said", role="status"),
            html.Div(
                [
                    html.Div([panel("Fields", plan_form.form(), note="an empty field takes the default shown in it")]),
                    html.Div(
                        [
                            html.Div(id="plan-faults"),
                            panel("Cards in build-up order", _card_bar(), cards_grid.grid("plan-cards")),
                            html.Div(id="plan-budget"),
                            html.Div(id="plan-gate"),
                        ],
                        className="plan-right",
                    ),
                ],
                className="plan-columns",
            ),
            caution_line(),
        ],
        className="page",
        id="page",
    )


def _bar() -> Component:
    return html.Div(
        [
            html.H1("Plan", className="page-title"),
            html.Span("not checked yet", id="plan-state", className="badge badge-plain"),
            html.Span(className="spacer"),
            action_button("Undo", identifier="plan-undo"),
            action_button("Redo", identifier="plan-redo"),
            action_button("New", identifier="plan-new"),
            dcc.Upload(
                html.Button("Import…", className="action", type="button"),
                id="plan-import", accept=".yaml,.yml,.json", max_size=plan_text.LARGEST_BYTES,
            ),
            action_button("Export YAML", identifier="plan-export-yaml"),
            action_button("Export JSON", identifier="plan-export-json"),
            action_button("Create the sortie", identifier="plan-create", primary=True),
        ],
        className="page-bar",
    )  # fmt: skip


def _card_bar() -> Component:
    return html.Div(
        [
            action_button("Add a card", identifier="cards-add"),
            action_button("Remove", identifier="cards-remove"),
            action_button("Move up", identifier="cards-up"),
            action_button("Move down", identifier="cards-down"),
            html.Span(
                "Double-click a cell, or Enter in it, to change it; select a row to move or remove it.",
                className="soft",
            ),
        ],
        className="button-row",
    )


dash.register_page(__name__, path="/plan", name="Plan", order=3, title="spinfloor: Plan", layout=layout)


@callback(
    Output({"role": "plan-field", "path": "rule"}, "data"),
    Output("plan-defaults", "data"),
    Input("plan-from", "data"),
)
async def offer(_source: dict[str, Any]) -> tuple[Any, Any]:
    """The rules there are, and the schema's defaults to show in empty fields."""
    rules, _ = await ask(lambda client: client.rules())
    schema, _ = await ask(lambda client: client.plan_schema())
    known = [{"value": rule["key"], "label": plan_panels.rule_label(rule)} for rule in rules or []]
    return known or no_update, plan_form.defaults_from_schema(schema or {})


@callback(
    Output({"role": "plan-field", "path": ALL}, "placeholder"),
    Input("plan-defaults", "data"),
    State(FIELD_IDS, "id"),
)
def show_defaults(defaults: dict[str, Any] | None, identifiers: list[dict[str, str]]) -> list[str]:
    """What holds where nothing is filled in."""
    return [plan_form.placeholder(BY_PATH[plan_form.path_of(i)], defaults or {}) for i in identifiers]


@callback(
    Output("plan-draft", "data", allow_duplicate=True),
    Input("plan-from", "data"),
    State("plan-draft", "data"),
    prevent_initial_call="initial_duplicate",
)
async def bring_in(source: dict[str, str | None], draft: dict[str, Any] | None) -> Any:
    """The plan of the sortie or recording named in the address, unless it is here already.

    What is wrong with the address is said through the draft too: said beside it, the draft's own check would wipe it out.
    """
    wanted = next((f"{kind} {name}" for kind, name in source.items() if name), None)
    if wanted is None or (draft or {}).get("source") == wanted:
        raise PreventUpdate
    kind, _, name = wanted.partition(" ")
    found, fault = await ask(lambda client: client.sortie(name) if kind == "sortie" else client.recording(name))
    if fault or not (found or {}).get("plan"):
        return drafts.told(draft, fault or f"The {wanted} has no plan of its own; the plan here is unchanged.")
    draft = drafts.changed(draft, found["plan"], "import", f"the plan of {wanted} brought in")
    return {**draft, "source": wanted}


@callback(
    Output("plan-draft", "data", allow_duplicate=True),
    Input(FIELD_IDS, "value"),
    State(FIELD_IDS, "id"),
    State("plan-draft", "data"),
    prevent_initial_call=True,
)
def fields_edited(values: list[Any], identifiers: list[dict[str, str]], draft: dict[str, Any] | None) -> dict[str, Any]:
    """A field was changed by hand."""
    if draft is None:
        draft = drafts.fresh()
    plan, labels = draft["plan"], []
    for value, identifier in zip(values, identifiers, strict=True):
        field = BY_PATH[plan_form.path_of(identifier)]
        if (value or None) != (plan_form.shown(field, draft["plan"]) or None):
            plan = put(plan, field.path, read_back(field, value))
            labels.append(field.label)
    if not labels:
        raise PreventUpdate
    return drafts.changed(draft, plan, "fields", f"{', '.join(labels)} changed")


@callback(
    Output("plan-draft", "data", allow_duplicate=True),
    Input("plan-cards", "cellValueChanged"),
    State("plan-cards", "rowData"),
    State("plan-draft", "data"),
    prevent_initial_call=True,
)
def cell_edited(changes: Any, rows: list[dict[str, Any]], draft: dict[str, Any] | None) -> dict[str, Any]:
    """A cell of the grid was changed by hand."""
    draft = draft or drafts.fresh()
    cards = cards_grid.cards_from(rows)
    if not changes or cards == draft["plan"].get("cards"):
        raise PreventUpdate
    names = ", ".join(sorted({str(change.get("colId", "cell")).replace("_", " ") for change in changes}))
    return drafts.changed(draft, {**draft["plan"], "cards": cards}, "cards", f"{names} of a card changed")


@callback(
    Output("plan-draft", "data", allow_duplicate=True),
    Input("cards-add", "n_clicks"),
    Input("cards-remove", "n_clicks"),
    Input("cards-up", "n_clicks"),
    Input("cards-down", "n_clicks"),
    State("plan-cards", "selectedRows"),
    State("plan-draft", "data"),
    prevent_initial_call=True,
)
def cards_arranged(
    _add: int, _remove: int, _up: int, _down: int, selected: list[dict[str, Any]] | None, draft: dict[str, Any] | None
) -> dict[str, Any]:
    """Add, remove or move a card."""
    draft = draft or drafts.fresh()
    cards = list(draft["plan"].get("cards") or [])
    place = int(selected[0]["place"]) - 1 if selected else None
    arranged = cards_grid.arrange(cards, str(ctx.triggered_id).removeprefix("cards-"), place)
    if arranged is None:
        raise PreventUpdate
    rearranged, said = arranged
    return drafts.changed(draft, {**draft["plan"], "cards": rearranged}, "arranged", said)


@callback(
    Output("plan-draft", "data", allow_duplicate=True),
    Input("plan-undo", "n_clicks"),
    Input("plan-redo", "n_clicks"),
    Input("plan-new", "n_clicks"),
    State("plan-draft", "data"),
    prevent_initial_call=True,
)
def stepped(_undo: int, _redo: int, _new: int, draft: dict[str, Any] | None) -> dict[str, Any]:
    """Undo, redo, or start a new plan (which undo takes back)."""
    draft = draft or drafts.fresh()
    steps = {
        "plan-undo": lambda: drafts.undone(draft),
        "plan-redo": lambda: drafts.redone(draft),
        "plan-new": lambda: drafts.changed(draft, drafts.BLANK, "new", "a new plan started"),
    }
    after = steps[str(ctx.triggered_id)]() if ctx.triggered_id in steps else None
    if after is None:
        raise PreventUpdate
    return after


@callback(
    Output("plan-draft", "data", allow_duplicate=True),
    Output("plan-said", "children", allow_duplicate=True),
    Output("plan-import", "contents"),
    Input("plan-import", "contents"),
    State("plan-import", "filename"),
    State("plan-draft", "data"),
    prevent_initial_call=True,
)
def imported(contents: str | None, name: str, draft: dict[str, Any] | None) -> tuple[Any, Any, None]:
    """A file was chosen or dropped."""
    if not contents:
        raise PreventUpdate
    try:
        plan = plan_text.from_upload(contents, name)
    except plan_text.PlanTextError as exc:
        return no_update, str(exc), None
    return drafts.changed(draft, plan, "import", f"file {name} imported"), no_update, None


@callback(
    Output("plan-download", "data"),
    Input("plan-export-yaml", "n_clicks"),
    Input("plan-export-json", "n_clicks"),
    State("plan-draft", "data"),
    prevent_initial_call=True,
)
def exported(_yaml: int, _json: int, draft: dict[str, Any] | None) -> dict[str, Any]:
    """The plan as a file, as it stands (checked or not)."""
    plan = (draft or drafts.fresh())["plan"]
    as_yaml = ctx.triggered_id == "plan-export-yaml"
    text = plan_text.to_yaml(plan) if as_yaml else plan_text.to_json(plan)
    return dcc.send_string(text, plan_text.file_name(plan, "yaml" if as_yaml else "json"))


@callback(
    Output("plan-said", "children", allow_duplicate=True),
    Input("plan-create", "n_clicks"),
    State("plan-draft", "data"),
    prevent_initial_call=True,
)
async def created(clicks: int, draft: dict[str, Any] | None) -> Any:
    """A sortie from this plan."""
    if not clicks:
        raise PreventUpdate
    plan = (draft or drafts.fresh())["plan"]
    made, fault = await ask(lambda client: client.create_sortie(plan))
    return plan_panels.created(made) if made else fault


@callback(
    Output("plan-state", "children"),
    Output("plan-state", "className"),
    Output("plan-faults", "children"),
    Output("plan-budget", "children"),
    Output("plan-gate", "children"),
    Output("plan-cards", "rowData"),
    Output({"role": "plan-field", "path": ALL}, "error"),
    Output({"role": "plan-field", "path": ALL}, "value"),
    Output("plan-undo", "disabled"),
    Output("plan-redo", "disabled"),
    Output("plan-create", "disabled"),
    Output("plan-said", "children"),
    Input("plan-draft", "modified_timestamp"),
    State("plan-draft", "data"),
    State(FIELD_IDS, "id"),
)
async def shown(_changed: int, draft: dict[str, Any] | None, identifiers: list[dict[str, str]]) -> tuple[Any, ...]:
    """The draft, checked by the service, in all its places."""
    draft = draft or drafts.fresh()
    plan = draft["plan"]
    checked, unreachable = await ask(lambda client: client.check_plan(plan))
    checked = checked or {"faults": [], "budget": None, "gate": []}
    faults = checked["faults"]
    beside, by_card = faults_by_field(faults), faults_by_card(faults)
    fields = [BY_PATH[plan_form.path_of(identifier)] for identifier in identifiers]
    by_hand = draft["origin"] == "fields"
    words, tone = plan_panels.state_words(faults, checked["budget"], unreachable)
    cards = plan.get("cards") if isinstance(plan.get("cards"), list) else []
    return (
        words,
        f"badge badge-{tone}",
        plan_panels.faults(faults, unreachable),
        plan_panels.budget(checked["budget"]),
        plan_panels.gate(checked["gate"], checked["budget"]),
        cards_grid.rows(cards, by_card),
        ["Fault: " + "; ".join(beside[field.path]) if field.path in beside else None for field in fields],
        [no_update if by_hand else plan_form.shown(field, plan) for field in fields],
        not draft["past"],
        not draft["future"],
        bool(faults) or unreachable is not None,
        plan_panels.said(draft),
    )
