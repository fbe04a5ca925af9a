"""The plan's form: one control per field, faults and defaults beside each, in groups."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from spinfloor_dashboard.components.plan_fields import FIELDS, GROUPS, PlanField, get

CHOICE_WORDS = {"about_flight_path": "about the flight path", "about_vertical": "about the vertical"}
OPEN_AT_FIRST = ("Plan", "Floors", "Aircraft")


def control_id(path: str) -> dict[str, str]:
    """The id of a field's control; dots would end an id, so they travel as colons."""
    return {"role": "plan-field", "path": path.replace(".", ":")}


def path_of(identifier: Mapping[str, str]) -> str:
    """The dotted path in a control's id."""
    return identifier["path"].replace(":", ".")


def form() -> Component:
    """All groups; the values come from the draft."""
    return html.Div([_group(group) for group in GROUPS], id="plan-form", className="plan-form")


def _group(group: str) -> Component:
    fields = [_control(field) for field in FIELDS if field.group == group]
    return html.Details(
        [html.Summary(group), html.Div(fields, className="field-grid")],
        open=group in OPEN_AT_FIRST,
        className="field-group",
    )


def _control(field: PlanField) -> Component:
    label = f"{field.label}, {field.unit}" if field.unit else field.label
    common = {"id": control_id(field.path), "label": label, "size": "sm", "className": _class(field)}
    if field.kind in ("choice", "yes-no"):
        choices = field.choices or (("no", "yes") if field.kind == "yes-no" else ())
        return dmc.Select(
            data=options(choices), allowDeselect=False, checkIconPosition="right", description=field.hint, **common
        )
    return dmc.TextInput(debounce=True, autoComplete="off", description=field.hint, **common)


WIDE = ("title", "rule", "aircraft.name")


def _class(field: PlanField) -> str:
    """Names and rules are long: they get a line of their own."""
    return "field field-wide" if field.path in WIDE else "field"


def options(values: Sequence[str]) -> list[dict[str, str]]:
    """Select options, in words."""
    return [{"value": value, "label": CHOICE_WORDS.get(value, value)} for value in values]


def shown(field: PlanField, plan: Mapping[str, Any]) -> str | None:
    """A field's value as its control shows it."""
    value = get(plan, field.path)
    if value is None:
        return None if field.kind in ("choice", "yes-no") else ""
    if field.kind == "yes-no":
        return "yes" if value else "no"
    if isinstance(value, float) and value == int(value):
        return str(int(value))
    return str(value)


def placeholder(field: PlanField, defaults: Mapping[str, Any]) -> str:
    """What holds when the field is left empty."""
    value = get(defaults, field.path)
    if value is None:
        return "none" if field.optional else "needed"
    words = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
    words = int(words) if isinstance(words, float) and words == int(words) else words
    return f"{CHOICE_WORDS.get(str(words), str(words))} unless set"


def defaults_from_schema(schema: Mapping[str, Any]) -> dict[str, Any]:
    """The plan schema's defaults, nested as in a plan (JSON Schema with $defs, as pydantic writes it)."""
    return _defaults(schema, schema.get("$defs", {}), 0)


def _defaults(node: Mapping[str, Any], definitions: Mapping[str, Any], depth: int) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, spec in node.get("properties", {}).items():
        if "default" in spec and not isinstance(spec["default"], Mapping):
            out[name] = spec["default"]
            continue
        inner = definitions.get(str(spec.get("$ref", "")).rsplit("/", 1)[-1])
        if inner is not None and depth < 6:
            given = spec.get("default")
            out[name] = {**_defaults(inner, definitions, depth + 1), **(given if isinstance(given, Mapping) else {})}
    return out
