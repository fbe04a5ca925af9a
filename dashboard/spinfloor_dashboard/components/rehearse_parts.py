"""The parts of the Rehearse page: recordings, what goes wrong, rehearsals so far, the score sheet."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import Tone, badge, empty, panel, utc_clock, utc_time
from spinfloor_dashboard.components.words import MINUS, channel, number, plural

Row = Mapping[str, Any]
CHANNELS: Final = (
    ("roll_rate_dps", "roll rate, deg/s"), ("pitch_rate_dps", "pitch rate, deg/s"), ("yaw_rate_dps", "yaw rate, deg/s"),
    ("pressure_altitude_ft", "altitude, ft"), ("alpha_deg", "alpha, deg"), ("calibrated_airspeed_kt", "airspeed, kt"),
    ("stick_aft_pct", "stick aft, %"), ("pedal_right_pct", "pedal right, %"),
)  # fmt: skip
# kind, words, needs a channel, words of its value (None: needs none), a value to start from
FAULTS: Final = (
    ("loss", "Data lost", False, None, None),
    ("delay", "Data late, s", False, "seconds", 2),
    ("clip", "Gyro clipped at", True, "value", 100),
    ("bias", "Bias of", True, "value", 10),
    ("stuck", "Channel stuck", True, None, None),
)


def recordings(found: Sequence[Row], chosen: str | None) -> Component:
    """The library as links, so that a choice is an address."""
    if not found:
        return empty("No recordings.", "Start the service with --recordings FOLDER to add some.")
    items: list[Component] = []
    for row in found:
        here = row["id"] == chosen
        items.append(
            dcc.Link(
                [html.B(row["title"]), html.Br(), html.Span(row["summary"] or row["file"], className="soft")],
                href="/rehearse?" + urlencode({"recording": row["id"]}),
                className="choice chosen" if here else "choice",
            )
        )
        moments = told_moments(str(row.get("notes") or "")) if here else []
        if moments:
            items.append(_moments(moments))
    return html.Div(items)


def told_moments(notes: str) -> list[tuple[str, str]]:
    """(seconds, what happens) from the table in a recording's page, in its order; none where it has no such table."""
    return _MOMENT.findall(notes)


_MOMENT: Final = re.compile(r"^\|\s*(\d+(?:\.\d+)?)\s*\|\s*(.+?)\s*\|\s*$", re.MULTILINE)


def _moments(moments: Sequence[tuple[str, str]]) -> Component:
    """Shut at first: who is to be rehearsed need not read it."""
    head = html.Thead(html.Tr([html.Th("s"), html.Th("What happens")]))
    body = html.Tbody([html.Tr([html.Td(seconds), html.Td(words)]) for seconds, words in moments])
    table = html.Table([head, body], className="plain")
    return html.Details([html.Summary("What happens when, to place what goes wrong"), table], className="moments")


def fault_form() -> Component:
    """A row per thing that can go wrong: on or off, from, to, channel, how much."""
    return html.Table(
        [
            html.Thead(html.Tr([html.Th(w) for w in ("What goes wrong", "From, s", "To, s", "Channel", "How much")])),
            html.Tbody([_fault_row(*fault) for fault in FAULTS]),
        ],
        className="plain fault-form",
    )


def _fault_row(kind: str, words: str, of_channel: bool, value: str | None, start: float | None) -> Component:
    def field(part: str, label: str, shown: Any = "", empty: str = "") -> Component:
        return dmc.TextInput(
            id={"role": f"fault-{part}", "kind": kind}, value=str(shown), size="xs", className="field", w=70,
            placeholder=empty,
            **{"aria-label": f"{words}: {label}"},
        )  # fmt: skip

    return html.Tr(
        [
            html.Td(dmc.Checkbox(id={"role": "fault-on", "kind": kind}, label=words, checked=False)),
            html.Td(field("from", "from, seconds", 0)),
            html.Td(field("to", "to, seconds; empty is to the end", empty="end")),
            html.Td(_channel(kind, words) if of_channel else html.Span("all", className="soft")),
            html.Td(
                field("value", "how much", "" if start is None else start)
                if value
                else html.Span("none", className="soft")
            ),
        ]
    )


def _channel(kind: str, words: str) -> Component:
    return dmc.Select(
        id={"role": "fault-channel", "kind": kind}, data=[{"value": name, "label": said} for name, said in CHANNELS],
        value="yaw_rate_dps", size="xs", w=170, allowDeselect=False, className="field",
        **{"aria-label": f"{words}: channel"},
    )  # fmt: skip


def faults_from(
    on: Sequence[bool],
    begin: Sequence[str],
    end: Sequence[str],
    channels: Mapping[str, str],
    value: Mapping[str, str],
) -> list[dict[str, Any]]:
    """The faults ticked, as the service takes them. Raises ValueError with a sentence when a number is none."""
    out: list[dict[str, Any]] = []
    for place, (kind, words, needs_channel, needs_value, _) in enumerate(FAULTS):
        if not on[place]:
            continue
        fault: dict[str, Any] = {"kind": kind, "from_s": _number(begin[place] or "0", f"{words}: from")}
        if end[place]:
            fault["to_s"] = _number(end[place], f"{words}: to")
        if needs_channel:
            fault["channel"] = channels[kind]
        if needs_value:
            fault[needs_value] = _number(value.get(kind, ""), f"{words}: how much")
        out.append(fault)
    return out


def _number(text: str, what: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise ValueError(f"Expected a number for {what}; got {text!r}; the rehearsal was not started.") from None


def rehearsals(sorties: Sequence[Row]) -> Component:
    """Rehearsals so far, newest first, each with its score sheet."""
    rows = [row for row in sorties if row.get("kind") == "rehearsal"][:30]
    if not rows:
        return empty("No rehearsal yet.", "Choose a recording and start one; its score sheet appears here.")
    body = [
        html.Tr(
            [
                html.Td(utc_time(row["created_ns"])),
                html.Td((row.get("notes") or {}).get("recording_title") or row["id"]),
                html.Td(dcc.Link("score sheet", href="/rehearse?" + urlencode({"sortie": row["id"]}))),
                html.Td(dcc.Link("watch", href="/?" + urlencode({"sortie": row["id"]}))),
                html.Td(dcc.Link("debrief", href="/debrief?" + urlencode({"sortie": row["id"]}))),
            ]
        )
        for row in rows
    ]
    return html.Div(html.Table(html.Tbody(body), className="plain"), className="scroll", tabIndex=0, role="region",
                    **{"aria-label": "Rehearsals so far"})  # fmt: skip


SCORE_HEAD: Final = (
    "Due, UTC", "Call", "Spin", "Tool", "Person", "Left when due, ft", "Left when tool called, ft",
    "Left when person called, ft", "Why",
)  # fmt: skip
TONES: Final[dict[str, Tone]] = {"in time": "good", "late": "caution", "missed": "caution", "not due": "caution"}


def score_sheet(sheet: Row) -> Component:
    """Each call: due, made by the tool, made by a person, the margin then."""
    wrong = [_fault_words(fault) for fault in sheet["faults"]]
    response = int(sheet["crew_response_turns"])
    if response:
        wrong.append(f"crew {plural(abs(response), 'turn')} {'late' if response > 0 else 'early'}")
    head = html.Tr([html.Th(word) for word in SCORE_HEAD])
    lines = [_line(line) for line in sheet["lines"]]
    counts = sheet["counts"]["tool"]
    return panel(
        f"Score sheet: {sheet.get('recording_title') or sheet['recording']}",
        html.Div(
            [
                badge("played to its end" if sheet["complete"] else "still playing: later calls show as missed",
                      "plain"),
                *[badge(f"tool {says}: {count}", TONES.get(says, "plain")) for says, count in counts.items() if count],
                html.Span("what went wrong: " + ("; ".join(wrong) or "nothing")),
            ],
            className="link-row",
        ),
        html.Div(
            html.Table([html.Thead(head), html.Tbody(lines)], className="plain numbers"),
            className="scroll", tabIndex=0, role="region", id="score-lines", **{"aria-label": "Score sheet"},
        ) if lines else empty("No call was due.", "The recording has no spin, or its calls lie beyond its end."),
        html.P(
            f"Due is what the tool says on the undisturbed recording. In time: within {sheet['in_time_s']:g} s of due "
            "(our own limit). Altitude left: median, and at the cautious bound.",
            className="soft",
        ),
    )  # fmt: skip


def _fault_words(fault: Row) -> str:
    end = f" to {number(fault['to_s'], 0, 's')}" if fault.get("to_s") is not None else " to the end"
    much = fault.get("value", fault.get("seconds"))
    about = f" {channel(fault['channel'])}" if fault.get("channel") else ""
    return f"{fault['kind']}{about}{'' if much is None else f' {much:g}'} from {number(fault['from_s'], 0, 's')}{end}"


def _line(line: Row) -> Component:
    return html.Tr(
        [
            html.Td(utc_clock(line["due_ns"]) if line["due_ns"] else "not due"),
            html.Th(line["words"] if line["call"] != "turn" else f"turn {line['words']}", scope="row"),
            html.Td(str(line["spin"] or "")),
            html.Td(_made(line["tool_says"], line["tool_late_s"])),
            html.Td(_made(line["person_says"], line["person_late_s"], line["person_by"])),
            *(html.Td(_margin(line[name])) for name in ("margin_due", "margin_tool", "margin_person")),
            html.Td(_why(line), className="reason"),
        ]
    )


def _why(line: Row) -> str:
    """Why, where it says more than the words of the call."""
    words = str(line["reason"] or "").removeprefix("whole turn: ").replace(" -", f" {MINUS}")
    return "" if words == line["words"] else words


def _made(says: str, late_s: float | None, by: str | None = None) -> list[Any]:
    words = [badge(says, TONES[says]) if says in TONES else says]
    if late_s is not None:
        words.append(f" {number(late_s, 1, 's', sign=True)}")
    if by:
        words.append(html.Span(f" {by}", className="soft"))
    return words


def _margin(margin: Row | None) -> str:
    if margin is None:
        return ""
    return f"{number(margin['median_ft'])} ({number(margin['bound_ft'])})"
