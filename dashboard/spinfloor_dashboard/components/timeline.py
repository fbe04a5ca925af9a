"""The sortie's events in time order: a strip to overview and a list to read, each entry leading to its moment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import empty
from spinfloor_dashboard.components.event_words import describe, heading, tone
from spinfloor_dashboard.components.spin_figures import PHASE_FILL, Figure, base
from spinfloor_dashboard.components.spins import phase_spans
from spinfloor_dashboard.components.words import number

Event = Mapping[str, Any]
LONGEST = 5000
GROUPS = {"call": "calls and marks", "mark": "calls and marks", "quality": "data", "link": "data"}
TONE_COLOUR = {"warning": "#ff4b3e", "caution": "#ffb000", "plain": "#9fc4ea"}


def rows(events: Sequence[Event]) -> list[list[str]]:
    """Each event as the browser's table takes it: time (ns), how much later it was known, group, tone, what, details.

    Times are text: a number in a browser does not hold a nanosecond of today.
    """
    return [
        [
            str(event["time_ns"]),
            number((int(event["detected_ns"]) - int(event["time_ns"])) / 1e9, 2, "s"),
            GROUPS.get(event["kind"], "spins"),
            tone(event),
            _what(event),
            describe(event),
        ]
        for event in events[:LONGEST]
    ]


def _what(event: Event) -> str:
    call = event["data"].get("call") if event["kind"] == "call" else None
    return f"call: {call}" if call else heading(event)


def table(sortie: str, events: Sequence[Event], moment_ns: int | None = None, **query: str | None) -> Component:
    """Events as rows, drawn by the browser (`assets/65-events.js`): a component for each cell would take it seconds."""
    if not events:
        return empty("No events yet.", "Events appear as soon as frames have been taken for this sortie.")
    data = {
        "sortie": sortie,
        "moment": None if moment_ns is None else str(moment_ns),
        "query": {name: value for name, value in query.items() if value},
        "total": len(events),
        "rows": rows(events),
    }
    return html.Div([dcc.Store(id="debrief-rows", data=data), html.Div(id="debrief-event-list")])


def strip(events: Sequence[Event], moment_ns: int | None = None) -> Figure:
    """Phases as bars and calls as marks over the sortie's time, in seconds since its first event."""
    figure = base("", "seconds since the first event", "", showlegend=False)
    figure["layout"]["yaxis"] = {"visible": False, "range": [0, 1.35], "fixedrange": True}
    figure["layout"]["margin"] = {"l": 12, "r": 12, "t": 6, "b": 44}
    if not events:
        return figure
    first = min(int(event["time_ns"]) for event in events)
    last = max(int(event["time_ns"]) for event in events)
    _bars(figure, phase_spans(events, first, last), first)
    _calls(figure, [event for event in events if event["kind"] == "call"], first)
    if moment_ns is not None:
        x = (moment_ns - first) / 1e9
        figure["layout"]["shapes"].append(
            {"type": "line", "x0": x, "x1": x, "y0": 0, "y1": 1.35, "line": {"color": "#ffffff", "width": 2}}
        )
    return figure


def _bars(figure: Figure, spans: Sequence[tuple[int, int, str]], first: int) -> None:
    total = max((end for _, end, _ in spans), default=first) - first
    for begin, end, phase in spans:
        figure["layout"]["shapes"].append(
            {"type": "rect", "layer": "below", "x0": (begin - first) / 1e9, "x1": (end - first) / 1e9,
             "y0": 0, "y1": 0.6, "fillcolor": PHASE_FILL.get(phase, "#1b242a"),
             "line": {"width": 1, "color": "#0a0e11"}}
        )  # fmt: skip
        if end - begin > total * 0.05:
            figure["layout"]["annotations"].append(
                {"x": ((begin + end) / 2 - first) / 1e9, "y": 0.3, "showarrow": False, "text": phase,
                 "font": {"size": 14, "color": "#f0f5f7"}}
            )  # fmt: skip


def _calls(figure: Figure, calls: Sequence[Event], first: int) -> None:
    figure["data"].append(
        {
            "type": "scatter",
            "mode": "markers",
            "x": [(int(event["time_ns"]) - first) / 1e9 for event in calls],
            "y": [0.95] * len(calls),
            "customdata": [str(event["time_ns"]) for event in calls],
            "text": [f"{event['data'].get('call')}: {describe(event)}" for event in calls],
            "hovertemplate": "%{text}<extra></extra>",
            "marker": {
                "size": 14,
                "color": [TONE_COLOUR[tone(event)] for event in calls],
                "symbol": ["square" if tone(event) == "warning" else "diamond" if tone(event) == "caution" else "circle"
                           for event in calls],
            },
        }
    )  # fmt: skip
