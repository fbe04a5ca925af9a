"""The sortie's events in time order: a strip to overview and a list to read, each entry a link to its moment."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import badge, empty, utc_clock
from spinfloor_dashboard.components.event_words import describe, heading, tone
from spinfloor_dashboard.components.spin_figures import PHASE_FILL, Figure, base
from spinfloor_dashboard.components.spins import phase_spans
from spinfloor_dashboard.components.words import number

Event = Mapping[str, Any]
LONGEST = 600
TONE_COLOUR = {"warning": "#ff4b3e", "caution": "#ffb000", "plain": "#9fc4ea"}


def link(sortie: str, time_ns: int, **more: str | None) -> str:
    """The address of a moment of a sortie."""
    return "/debrief?" + urlencode({"sortie": sortie, "t": time_ns, **{k: v for k, v in more.items() if v}})


def table(sortie: str, events: Sequence[Event], moment_ns: int | None = None, **query: str | None) -> Component:
    """Events as rows: time (a link), how much later it was known, kind, words."""
    if not events:
        return empty("No events yet.", "Events appear as soon as frames have been taken for this sortie.")
    nearest = min(events, key=lambda e: abs(int(e["time_ns"]) - moment_ns)) if moment_ns is not None else None
    shown = events[:LONGEST]
    note = (
        [html.P(f"The first {LONGEST:,} of {len(events):,} events; the exports hold all of them.", className="soft")]
        if len(events) > LONGEST
        else []
    )
    return html.Div(
        [
            *note,
            html.Table(
                [
                    html.Thead(html.Tr([html.Th(w) for w in ("Happened, UTC", "Known after", "What", "Details")])),
                    html.Tbody([_row(sortie, event, event is nearest, query) for event in shown]),
                ],
                className="plain timeline",
            ),
        ],
        className="scroll",
        tabIndex=0,
        role="region",
        **{"aria-label": "Events in time order"},
    )


def _row(sortie: str, event: Event, here: bool, query: Mapping[str, str | None]) -> Component:
    happened = int(event["time_ns"])
    later = (int(event["detected_ns"]) - happened) / 1e9
    mood = tone(event)
    what: Any = badge(heading(event), mood) if mood in ("warning", "caution") else heading(event)  # type: ignore[arg-type]
    if event["kind"] == "call" and event["data"].get("call"):
        words = f"call: {event['data']['call']}"
        what = badge(words, mood) if mood in ("warning", "caution") else words  # type: ignore[arg-type]
    extra = {"id": "moment-row"} if here else {}
    return html.Tr(
        [
            html.Td(dcc.Link(utc_clock(happened), href=link(sortie, happened, **query))),
            html.Td(number(later, 2, "s")),
            html.Td(what),
            html.Td(describe(event)),
        ],
        className="here" if here else "",
        **extra,
    )


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
            "customdata": [int(event["time_ns"]) for event in calls],
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
