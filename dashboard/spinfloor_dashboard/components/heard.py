"""Which calls of a sortie were heard in time, from what the screens reported: a line of counts and what was missed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from dash import html
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import badge, empty, panel, utc_clock
from spinfloor_dashboard.components.words import number, plural

Row = Mapping[str, Any]
WITHIN_MS: Final = 500.0
SPOKEN_ALWAYS: Final = ("caution", "recover", "chute", "abandon")


def soonest(records: Sequence[Row]) -> dict[int, float | None]:
    """By the call's sequence number: the shortest delay any screen reported, None where a report held none."""
    found: dict[int, float | None] = {}
    for record in records:
        if record["action"] != "sounded":
            continue
        sequence, latency_ms = int(record["data"]["sequence"]), record["data"].get("latency_ms")
        before = found.get(sequence)
        found[sequence] = latency_ms if before is None else before if latency_ms is None else min(before, latency_ms)
    return found


def heard(events: Sequence[Row], records: Sequence[Row]) -> Component:
    """Calls that must be heard (turn numbers and status words may give way to them): heard in time, late, not at all."""
    calls = [e for e in events if e["kind"] == "call" and e["data"].get("call") in SPOKEN_ALWAYS]
    if not calls:
        return panel("Calls heard", empty("No call that must be heard.", "Cautions and warnings appear here."))
    reported = soonest(records)
    if not reported:
        said = f"{plural(len(calls), 'call')} that must be heard, and no screen reported a sound."
        return panel(
            "Calls heard", empty(said, "The sortie was not watched with sound armed, or it was sent in afterwards.")
        )
    missed = [call for call in calls if call["sequence"] not in reported]
    late = [call for call in calls if (reported.get(call["sequence"]) or 0.0) > WITHIN_MS]
    in_time = len(calls) - len(missed) - len(late)
    line = html.Div(
        [
            badge(f"{in_time} of {plural(len(calls), 'call')} heard within {WITHIN_MS / 1000:g} s", "plain"),
            badge(f"{len(late)} later", "caution" if late else "plain"),
            badge(f"{len(missed)} reported by no screen", "caution" if missed else "plain"),
        ],
        className="link-row",
    )
    rows = [_row(call, reported) for call in sorted([*late, *missed], key=lambda call: int(call["sequence"]))]
    shown = html.Div(
        html.Table([html.Thead(_head()), html.Tbody(rows)], className="plain"),
        className="scroll", tabIndex=0, role="region", **{"aria-label": "Calls not heard in time"},
    ) if rows else None  # fmt: skip
    return panel("Calls heard", line, shown, note="cautions and warnings; a call cut off by a higher one is not heard")


def _head() -> Component:
    return html.Tr([html.Th(word) for word in ("Time, UTC", "Call", "Words", "Heard")])


def _row(call: Row, reported: Mapping[int, float | None]) -> Component:
    late_ms = reported.get(call["sequence"])
    words = "by no screen" if call["sequence"] not in reported else f"after {number(late_ms, 0, 'ms')}"
    return html.Tr(
        [
            html.Td(utc_clock(int(call["detected_ns"]))),
            html.Td(call["data"]["call"]),
            html.Td(call["data"]["words"]),
            html.Td(words),
        ]
    )
