"""What stands beside the plan's fields: faults, budget picture and table, build-up order with the gate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component

from spinfloor_dashboard.components.budget_figure import SHOWN_AT_MOST, budget_figure, needed_ft, part_ft
from spinfloor_dashboard.components.common import Tone, badge, empty, panel
from spinfloor_dashboard.components.plan_fields import dotted, place_of, sentence
from spinfloor_dashboard.components.words import feet, number, plural

Row = Mapping[str, Any]
HEIGHTS = {
    "pressure": "pressure altitudes",
    "sea level": "heights above sea level",
    "ground": "heights above the ground",
}  # by the plan's reference of its floors


def state_words(faults: Sequence[Row], weighed: Row | None, unreachable: str | None) -> tuple[str, Tone]:
    """The plan's state in words and its tone."""
    if unreachable is not None:
        return "not checked", "fault"
    if faults:
        return plural(len(faults), "fault"), "fault"
    short = sum(1 for row in (weighed or {}).get("cards", ()) if not row["enough"])
    if short:
        return f"{plural(short, 'card')} too low", "caution"
    return "checked, no fault", "good"


def said(draft: Mapping[str, Any]) -> str:
    """What just happened to the plan, and that it can be taken back."""
    words = str(draft.get("said") or "")
    if not words:
        return ""
    if words.endswith("."):
        return words  # a sentence of its own, about nothing that could be undone
    tail = " Undo takes it back." if draft.get("past") and not words.startswith("Undone") else ""
    return f"{words[0].upper()}{words[1:]}.{tail}"


def created(made: Mapping[str, Any]) -> list[Any]:
    """Where to go with a sortie just created."""
    query = urlencode({"sortie": str(made["id"])})
    return [
        f"Sortie {made['id']} created. ",
        dcc.Link("Watch it", href=f"/?{query}"),
        " or ",
        dcc.Link("debrief it", href=f"/debrief?{query}"),
        ".",
    ]


def faults(found: Sequence[Row], unreachable: str | None) -> Component | None:
    """All faults at once, by path; nothing when there are none."""
    if unreachable is not None:
        return panel("Not checked", html.P(unreachable))
    if not found:
        return None
    rows = [html.Tr([html.Td(_where(fault.get("path", ""))), html.Td(sentence(fault))]) for fault in found]
    return panel(
        "Faults",
        html.Table([html.Thead(html.Tr([html.Th("Where"), html.Th("What")])), html.Tbody(rows)], className="plain"),
        note="a sortie can be created when there are none",
        identifier="plan-fault-list",
    )


def _where(path: Any) -> list[Any]:
    """The page's own words for the place, and the name that a plan's file has for it."""
    words, name = place_of(path), dotted(path) or "plan"
    return [html.Code(words), html.Br(), html.Span(name, className="soft")] if words else [html.Code(name)]


def budget(weighed: Row | None) -> Component:
    """The picture and the numbers behind it."""
    if weighed is None or not weighed["cards"]:
        return panel(
            "Altitude budget",
            empty("No budget yet.", "It appears when the plan has a card, its floors and no fault."),
        )
    rows = weighed["cards"]
    note = f"{HEIGHTS.get(weighed['reference'], weighed['reference'])} in feet; cautious bound {100 * weighed['cautious_bound']:g} %"
    if len(rows) > SHOWN_AT_MOST:
        note += f"; the first {SHOWN_AT_MOST} of {len(rows)} cards are drawn, the table has all"
    return panel(
        "Altitude budget",
        dcc.Graph(
            figure=budget_figure(rows, weighed["floors_ft"]),
            config={"displayModeBar": False, "responsive": True},
            className="figure-tall",
            id="budget-figure",
        ),
        _budget_table(rows),
        _notes(weighed.get("notes") or ()),
        note=note,
    )


def _notes(notes: Sequence[str]) -> Component | None:
    if not notes:
        return None
    return html.Div([html.H3("Build-up"), html.Ul([html.Li(f"{note[0].upper()}{note[1:]}.") for note in notes])])


def _budget_table(rows: Sequence[Row]) -> Component:
    head = ("Card", *(name.capitalize() for name in TABLE_PARTS), "Floor", "Needed", "Entry", "Learnt from", "Verdict")
    return html.Div(
        html.Table(
            [html.Thead(html.Tr([html.Th(word) for word in head])), html.Tbody([_budget_row(row) for row in rows])],
            className="plain numbers",
        ),
        className="scroll-wide",
        tabIndex=0,
        role="region",
        **{"aria-label": "Altitude budget by card, feet"},
    )


TABLE_PARTS = ("planned turns", "dearer first turn", "reaction", "recovery turns", "dive and pull-out", "allowance")


def _budget_row(row: Row) -> Component:
    words = (
        badge(f"{feet(row['cautious_margin_ft'])} to spare", "good")
        if row["enough"]
        else badge(f"refused: {feet(row['shortfall_ft'])} short", "caution")
    )
    heights = (row["floor_ft"], needed_ft(row), row["entry_ft"])
    return html.Tr(
        [
            html.Th(row["card"], scope="row"),
            *(html.Td(number(part_ft(row, name))) for name in TABLE_PARTS),
            *(html.Td(number(height)) for height in heights),
            html.Td(plural(int(row["earlier_spins"]), "spin")),
            html.Td(words),
        ]
    )


def gate(rows: Sequence[Row], weighed: Row | None = None) -> Component | None:
    """Build-up order: which card may be flown next and what holds the others, the budget's refusals among it."""
    if not rows:
        return None
    short = {row["card"]: row["shortfall_ft"] for row in (weighed or {}).get("cards", ()) if not row["enough"]}
    items = [
        html.Tr(
            [
                html.Td(f"{place + 1}"),
                html.Th(row["card"], scope="row"),
                html.Td(gate_badge(str(row["state"]), too_low=row["card"] in short)),
                html.Td("; ".join(_held_by(row, short))),
            ]
        )
        for place, row in enumerate(rows)
    ]
    head = html.Thead(html.Tr([html.Th(word) for word in ("#", "Card", "Gate", "Why")]))
    return panel(
        "Build-up and gate",
        html.Table([head, html.Tbody(items)], className="plain"),
        note="a card opens when the one before it has been flown without a surprise left unsigned",
    )


def _held_by(row: Row, short: Mapping[str, float]) -> list[str]:
    reasons = list(row.get("reasons") or filter(None, [row.get("words")]))
    if row["card"] in short and row["state"] != "flown":
        reasons.append(f"its altitude budget refuses it: {feet(short[row['card']])} short")
    return reasons


def gate_badge(state: str, *, too_low: bool = False) -> Component:
    """A card's gate in words; one that its altitude budget refuses is not open."""
    if too_low and state == "open":
        return badge("next, too low", "caution")
    tones: dict[str, Tone] = {"open": "good", "flown": "plain", "closed": "caution"}
    return badge(state, tones.get(state, "plain"))


def rule_label(rule: Mapping[str, Any]) -> str:
    """A rule's title and source, and whether its numbers were read there."""
    mark = "verified" if rule.get("verified") else "from memory"
    return f"{rule['title']}, {rule['source']} {rule['clause']} ({mark})"
