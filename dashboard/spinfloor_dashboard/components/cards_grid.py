"""The cards of a plan in build-up order, as an editable grid."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import dash_ag_grid as dag
from dash.development.base_component import Component

COLUMNS: Final[tuple[dict[str, Any], ...]] = (
    {"field": "place", "headerName": "#", "width": 46, "editable": False, "cellClass": "soft"},
    {"field": "id", "headerName": "Card", "width": 84},
    {"field": "title", "headerName": "Title", "minWidth": 130, "flex": 1},
    {"field": "orientation", "headerName": "Way up", "width": 92, "choices": ["upright", "inverted"]},
    {"field": "direction", "headerName": "Direction", "width": 92, "choices": ["left", "right"]},
    {"field": "turns", "headerName": "Turns", "width": 70, "number": True},
    {"field": "entry_altitude_ft", "headerName": "Entry, ft", "width": 90, "number": True},
    {"field": "mode", "headerName": "Mode", "width": 136,
     "choices": ["", "steep", "moderately steep", "moderately flat", "flat"]},
    {"field": "centre_of_gravity_pct", "headerName": "C.g., %", "width": 84, "number": True},
    {"field": "mass_kg", "headerName": "Mass, kg", "width": 92, "number": True},
    {"field": "power", "headerName": "Power", "width": 82, "choices": ["idle", "on"]},
    {"field": "check", "headerName": "Check", "width": 130, "pinned": "right", "editable": False, "tooltipField": "check",
     "cellClassRules": {"cell-fault": "params.value && params.value !== 'no fault'"}},
)  # fmt: skip

CARD_FIELDS: Final = tuple(str(column["field"]) for column in COLUMNS if column["field"] not in ("place", "check"))
NUMBER_FIELDS: Final = tuple(str(column["field"]) for column in COLUMNS if column.get("number"))


def grid(identifier: str) -> Component:
    """An empty grid; `rows` fills it."""
    return dag.AgGrid(
        id=identifier,
        columnDefs=[_column(column) for column in COLUMNS],
        rowData=[],
        defaultColDef={"editable": True, "sortable": False, "resizable": True, "suppressMovable": True},
        dashGridOptions={
            "theme": {"function": "spinfloorTheme(theme, agGrid)"},
            "rowSelection": {"mode": "singleRow", "checkboxes": False, "enableClickSelection": True},
            "stopEditingWhenCellsLoseFocus": True,
            "singleClickEdit": False,
            "domLayout": "autoHeight",
            "tooltipShowDelay": 300,
            "localeText": {"noRowsToShow": "No cards yet. Add one, or import a plan."},
        },
        getRowId="params.data.key",
        style={"height": None},
        className="cards-grid",
    )  # fmt: skip


def _column(column: Mapping[str, Any]) -> dict[str, Any]:
    out = {name: value for name, value in column.items() if name not in ("choices", "number")}
    if column.get("choices"):
        out["cellEditor"] = "agSelectCellEditor"
        out["cellEditorParams"] = {"values": column["choices"]}
    if column.get("number"):
        out["cellEditor"] = "agNumberCellEditor"
        out["type"] = "rightAligned"
    return out


def rows(cards: Sequence[Mapping[str, Any]], faults: Mapping[int, Sequence[str]]) -> list[dict[str, Any]]:
    """Grid rows for the cards, the check in words."""
    return [
        {
            **{name: card.get(name) for name in CARD_FIELDS},
            "place": place + 1,
            "key": str(card.get("_key", place)),
            "check": "; ".join(faults.get(place, ())) or "no fault",
        }
        for place, card in enumerate(cards)
    ]


def cards_from(rows_data: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Cards from grid rows in the order shown; empty cells are left out so that the plan's own default holds."""
    return [
        {name: _value(name, row.get(name)) for name in CARD_FIELDS if row.get(name) not in (None, "")}
        for row in rows_data
    ]


def _value(name: str, value: Any) -> Any:
    if name in NUMBER_FIELDS and isinstance(value, str):
        try:
            return float(value)
        except ValueError:
            return value
    return value


def fresh_card(cards: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """A next card: the last one again with one turn more (build-up by turns), under an id not used yet."""
    used = {str(card.get("id")) for card in cards}
    number = len(cards) + 1
    while f"card-{number}" in used:
        number += 1
    last: dict[str, Any] = (
        dict(cards[-1]) if cards else {"orientation": "upright", "direction": "right", "power": "idle"}
    )
    turns = last.get("turns")
    last["turns"] = float(turns) + 1.0 if isinstance(turns, int | float) else 1.0
    last["id"] = f"card-{number}"
    last.pop("title", None)
    return last


def arrange(cards: Sequence[Mapping[str, Any]], how: str, place: int | None) -> tuple[list[dict[str, Any]], str] | None:
    """The cards after "add", "remove", "up" or "down" at a place, and what happened in words; None: nothing to do."""
    out = [dict(card) for card in cards]
    if how == "add":
        out.insert(len(out) if place is None else place + 1, fresh_card(out if place is None else out[: place + 1]))
        return out, "a card added"
    if place is None or not 0 <= place < len(out):
        return None
    name = out[place].get("id") or f"in place {place + 1}"
    if how == "remove":
        del out[place]
        return out, f"card {name} removed"
    other = place + (1 if how == "down" else -1)
    if not 0 <= other < len(out):
        return None
    out[place], out[other] = out[other], out[place]
    return out, f"card {name} moved {how}"
