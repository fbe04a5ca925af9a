"""The look of Plotly figures on a dark page; no red and no amber, which mean warning and caution."""

from __future__ import annotations

from typing import Any, Final

COLOURWAY: Final = ("#6fb7ff", "#7fd6c2", "#c3a6ff", "#e6edf1", "#8fa8b5", "#5f8fd0", "#b7d98b", "#e3a6d8")

_AXIS: Final[dict[str, Any]] = {
    "gridcolor": "#263139",
    "zerolinecolor": "#3c4a54",
    "linecolor": "#3c4a54",
    "tickcolor": "#3c4a54",
    "title": {"standoff": 8},
}

TEMPLATE: Final[dict[str, Any]] = {
    "layout": {
        "paper_bgcolor": "#12181c",
        "plot_bgcolor": "#0d1215",
        "font": {"family": "'Barlow Semi Condensed', sans-serif", "color": "#e6edf1", "size": 15},
        "colorway": list(COLOURWAY),
        "xaxis": _AXIS,
        "yaxis": _AXIS,
        "margin": {"l": 64, "r": 20, "t": 36, "b": 52},
        "legend": {"bgcolor": "rgba(0,0,0,0)"},
        "hoverlabel": {"bgcolor": "#1b242a", "font": {"color": "#e6edf1"}},
    }
}
