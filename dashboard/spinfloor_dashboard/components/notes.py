"""Notes after the flight on Debrief: what was noted, and a form to add one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import action_button, panel, utc_time

Row = Mapping[str, Any]
ALL = "all"


def about(spin: Any) -> str:
    """What a note is about."""
    return f"spin {spin}" if isinstance(spin, int) else "the sortie"


def notes(records: Sequence[Row], spins: Sequence[int], chosen: int | None, said: str = "") -> Component:
    """records: of the audit log; spins: their numbers; chosen: the spin shown. said: why the last one was not added."""
    found = [record for record in records if record["action"] == "note"]
    rows = [
        html.Tr(
            [
                html.Td(utc_time(record["at_ns"])),
                html.Td(record["by"]),
                html.Th(about(record["data"].get("spin")), scope="row"),
                html.Td(str(record["data"].get("text") or "")),
            ]
        )
        for record in found
    ]
    head = html.Tr([html.Th(word) for word in ("Noted", "By", "About", "Note")])
    table = html.Table([html.Thead(head), html.Tbody(rows)], className="plain", id="note-list") if rows else None
    return panel(
        "Notes after the flight",
        table,
        _form(spins, chosen),
        html.P(said, id="note-said", className="said", role="status"),
        note="kept with who and when, and printed in the report; a later note puts an earlier one right",
    )


def _form(spins: Sequence[int], chosen: int | None) -> Component:
    choices = [{"value": ALL, "label": "the sortie"}, *({"value": str(n), "label": f"spin {n}"} for n in spins)]
    start = str(chosen) if chosen in spins else ALL
    return html.Div(
        [
            dmc.TextInput(id="note-by", label="Who (role)", size="sm", className="field"),
            dmc.Select(
                id="note-about", label="About", size="sm", className="field", data=choices, value=start,
                allowDeselect=False,
            ),
            dmc.TextInput(id="note-text", label="Note", size="sm", className="field"),
            action_button("Add the note", identifier="note-add"),
        ],
        className="note-form",
    )  # fmt: skip
