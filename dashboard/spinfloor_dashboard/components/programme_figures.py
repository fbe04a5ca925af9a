"""Figures of a programme: recovery turns and height lost against turns held, by kind of spin; what was learnt. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from spinfloor_dashboard.components.figures import COLOURWAY
from spinfloor_dashboard.components.spin_figures import Figure, base
from spinfloor_dashboard.components.words import known, spin_name

Row = Mapping[str, Any]
SYMBOLS: Final = ("circle", "diamond", "square", "triangle-up", "cross", "star", "hexagon", "triangle-down")


def kind_of(row: Row) -> str:
    """The kind of spin in words."""
    return spin_name({name: row.get(name) for name in ("orientation", "direction", "mode")})


def against_turns(spins: Sequence[Row], value: str, title: str, axis: str) -> Figure:
    """One value of each spin against the turns held, a series per kind, told apart by hue and by symbol."""
    figure = base(title, "turns held before recovery", axis, legend={"orientation": "h", "y": -0.28, "x": 0})
    kinds = list(dict.fromkeys(kind_of(spin) for spin in spins))
    for place, kind in enumerate(kinds):
        own = [s for s in spins if kind_of(s) == kind and known(s.get("recovery_start_turns")) and known(s.get(value))]
        figure["data"].append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": kind,
                "x": [spin["recovery_start_turns"] for spin in own],
                "y": [spin[value] for spin in own],
                "text": [f"{spin['sortie']}, spin {spin['spin']}" for spin in own],
                "hovertemplate": "%{text}<br>%{x:.2f} turns held: %{y:,.2f}<extra></extra>",
                "marker": {
                    "size": 12,
                    "color": COLOURWAY[place % len(COLOURWAY)],
                    "symbol": SYMBOLS[place % len(SYMBOLS)],
                },
            }
        )
    figure["layout"]["xaxis"]["rangemode"] = "tozero"
    figure["layout"]["yaxis"]["rangemode"] = "tozero"
    return figure


def learnt_figure(kinds: Sequence[Row], quantity: str, title: str, axis: str) -> Figure:
    """Per kind the 95 % prediction of the next spin, by the priors alone and by what has been flown."""
    figure = base(title, axis, "", legend={"orientation": "h", "y": -0.28, "x": 0})
    names = [f"{kind_of(kind)} ({kind['own_spins']})" for kind in kinds]
    for place, (which, words) in enumerate((("prior", "before the first spin"), ("now", "now"))):
        values = [kind["quantities"][quantity][which] for kind in kinds]
        figure["data"].append(
            {
                "type": "scatter",
                "mode": "markers",
                "name": words,
                "x": [value["location"] for value in values],
                "y": names,
                "error_x": {
                    "type": "data",
                    "symmetric": False,
                    "array": [value["high"] - value["location"] for value in values],
                    "arrayminus": [value["location"] - value["low"] for value in values],
                    "thickness": 2 + 2 * place,
                    "width": 6,
                },
                "marker": {
                    "size": 11,
                    "color": ("#8fa8b5", COLOURWAY[0])[place],
                    "symbol": ("circle-open", "circle")[place],
                },
                "hovertemplate": "%{x:,.2f} expected<extra>" + words + "</extra>",
            }
        )  # fmt: skip
    figure["layout"]["yaxis"].update({"type": "category", "automargin": True})
    return figure
