"""The altitude budget as a picture: per card a stack from the floor up to the height needed, and the entry height.

Pure: the service's budget rows in, a Plotly figure (plain dict) out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from spinfloor_dashboard.components.spin_figures import Figure, base
from spinfloor_dashboard.components.words import feet, known

SHOWN_AT_MOST: Final = 40
# Lowest first, as stacked: what is used last lies on the floor.
PART_COLOURS: Final = {
    "allowance": "#33424b",
    "dive and pull-out": "#5f8fd0",
    "recovery turns": "#7fd6c2",
    "reaction": "#c3a6ff",
    "dearer first turn": "#8fa8b5",
    "planned turns": "#2f6a9c",
}
PART_WORDS: Final = {"allowance": "allowance to the cautious bound"}
SHORT_COLOUR: Final = "#ffb000"


def budget_figure(rows: Sequence[Mapping[str, Any]], floors: Mapping[str, Any]) -> Figure:
    """Stacks for up to SHOWN_AT_MOST cards; a card that is short says by how much."""
    rows = rows[:SHOWN_AT_MOST]
    names = [str(row["card"]) for row in rows]
    figure = base("", "", "altitude, ft", barmode="stack", bargap=0.35)
    figure["layout"]["xaxis"]["type"] = "category"
    _ground_stack(figure, names, rows)
    for part, colour in PART_COLOURS.items():
        words = PART_WORDS.get(part, part)
        figure["data"].append(
            {"type": "bar", "name": words, "x": names, "y": [part_ft(row, part) for row in rows],
             "marker": {"color": colour}, "hovertemplate": "%{y:,.0f} ft<extra>" + words + "</extra>"}
        )  # fmt: skip
    _entry_marks(figure, names, rows)
    _range(figure, rows, floors)
    return figure


def part_ft(row: Mapping[str, Any], name: str) -> float:
    """What one part of the budget costs, 0 when it is not in it."""
    if name == "allowance":
        return float(row["allowance_ft"])
    return float(next((part["loss_ft"] for part in row["parts"] if part["name"] == name), 0.0))


def needed_ft(row: Mapping[str, Any]) -> float:
    """The height the card needs at the cautious bound, not rounded."""
    return float(row["floor_ft"]) + float(row["entry_ft"]) - float(row["cautious_level_ft"])


def _ground_stack(figure: Figure, names: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> None:
    figure["data"].append(
        {"type": "bar", "name": "recovery floor and below", "x": list(names), "y": [row["floor_ft"] for row in rows],
         "marker": {"color": "#1b242a", "line": {"color": "#46565f", "width": 1}},
         "hovertemplate": "floor %{y:,.0f} ft<extra></extra>"}
    )  # fmt: skip


def _entry_marks(figure: Figure, names: Sequence[str], rows: Sequence[Mapping[str, Any]]) -> None:
    figure["data"].append(
        {"type": "scatter", "mode": "markers", "name": "entry height", "x": list(names),
         "y": [row["entry_ft"] for row in rows],
         "marker": {"symbol": "line-ew-open", "size": 46 if len(rows) < 12 else 22, "color": "#ffffff",
                    "line": {"width": 4, "color": "#ffffff"}},
         "hovertemplate": "entry %{y:,.0f} ft<extra></extra>"}
    )  # fmt: skip
    for name, row in zip(names, rows, strict=True):
        short = not row["enough"]
        text = f"short {feet(row['shortfall_ft'])}" if short else f"{feet(row['cautious_margin_ft'])} to spare"
        figure["layout"]["annotations"].append(
            {"x": name, "y": max(row["entry_ft"], needed_ft(row)), "yanchor": "bottom", "yshift": 8,
             "showarrow": False, "text": text,
             "font": {"size": 15 if len(rows) < 12 else 12, "color": SHORT_COLOUR if short else "#e6edf1"}}
        )  # fmt: skip


def _range(figure: Figure, rows: Sequence[Mapping[str, Any]], floors: Mapping[str, Any]) -> None:
    if not rows:
        return
    low = min(float(row["floor_ft"]) for row in rows)
    high = max(max(float(row["entry_ft"]), float(needed_ft(row))) for row in rows)
    foot = max(0.0, low - 0.35 * (high - low))
    figure["layout"]["yaxis"]["range"] = [foot, high + 0.14 * (high - foot)]
    for key, words in (("chute", "chute floor"), ("abandon", "abandon floor")):
        height = floors.get(key)
        if height is not None and known(height) and height > foot:
            figure["layout"]["shapes"].append(
                {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": height, "y1": height,
                 "line": {"color": "#a9bac3", "width": 1.5, "dash": "dot"}}
            )  # fmt: skip
            figure["layout"]["annotations"].append(
                {"xref": "paper", "x": 0, "xshift": 6, "xanchor": "left", "y": height, "yanchor": "bottom", "showarrow": False,
                 "text": f"{words} {feet(height)}", "font": {"size": 13, "color": "#a9bac3"}}
            )  # fmt: skip
