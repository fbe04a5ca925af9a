"""The pieces of the Watch page; the browser's scripts (`assets/`) fill them up to 25 times a second by id."""

from __future__ import annotations

from typing import Final

from dash import html
from dash.development.base_component import Component

from spinfloor_dashboard.components.common import action_button

# column of the live message, what it shows, unit
STRIPS: Final[tuple[tuple[str, str, str], ...]] = (
    ("yaw_rate_dps", "Yaw rate", "deg/s"),
    ("roll_rate_dps", "Roll rate", "deg/s"),
    ("pitch_rate_dps", "Pitch rate", "deg/s"),
    ("alpha_deg", "Alpha", "deg"),
    ("altitude_ft", "Altitude", "ft"),
    ("calibrated_airspeed_kt", "Airspeed", "kt"),
)


def _cell(title: str, *children: object, identifier: str, tag: Component | None = None) -> Component:
    heading = html.H2(title, id=identifier.replace("-cell", "-head"))
    head = html.Div(
        [
            heading,
            html.Span(className="age-tag", hidden=True),
            html.Span(className="estimate-tag", hidden=True),
            tag,
        ],
        className="cell-head",
    )
    return html.Section([head, *children], className="cell", id=identifier)


def _words(identifier: str, name: str, words: str = "") -> Component:
    return html.Div(words, id=identifier, className=name)


def top() -> Component:
    """Every sortie in short, and who holds control."""
    return html.Div(
        [
            html.Nav(id="w-sorties", className="sorties", **{"aria-label": "Sorties"}),
            html.Div([html.Span("Control"), html.Strong("-", id="w-control")], className="fact one-line"),
            html.Span(id="w-by-slot", className="by"),
            action_button("Take control", identifier="w-take", key="T"),
        ],
        className="top",
    )


def health() -> Component:
    """Where the data comes from, how old it is, what is wrong with it, sound."""
    return html.Section(
        [
            html.H2("Data and sound", className="unseen"),
            _words("w-origin", "origin", "NO SORTIE"),
            html.Div([html.Span("Data age"), html.Strong("-", id="w-age")], className="fact", id="w-age-box"),
            html.Div([html.Span("Link"), html.Strong("-", id="w-link")], className="fact", id="w-link-box"),
            html.Div([html.Span("Evidence"), html.Strong("-", id="w-evidence")], className="fact"),
            html.Div(
                [html.Span("Source clock"), html.Strong(id="w-clock")], className="fact", id="w-clock-box", hidden=True
            ),
            html.Div(
                [html.Span("Quality"), html.Strong("-", id="w-quality")], className="fact grow", id="w-quality-box"
            ),
            html.Button(
                [html.Span("SOUND NOT ARMED", id="w-sound-words"), html.Kbd("S")],
                id="w-sound",
                className="action sound",
                type="button",
                **{"data-key": "s"},
            ),
        ],
        className="health",
    )


def replay_bar() -> Component:
    """Shown for a replay only; the scripts fill it."""
    return html.Section(id="w-replay", className="replay-bar", hidden=True, **{"aria-label": "Replay"})


def call_band() -> Component:
    """The last call, large, with why, when and whether it was heard. Its words are announced; its age, which runs, is not."""
    return html.Section(
        [
            html.H2("Last call", className="unseen"),
            html.Div("NO CALL YET", id="w-call-words", className="call-words", **{"aria-live": "assertive"}),
            html.Div(
                [_words("w-call-reason", "call-reason"), _words("w-call-numbers", "call-numbers")], className="grow"
            ),
            html.Div([_words("w-call-age", "call-age"), _words("w-call-heard", "call-heard")], className="call-side"),
        ],
        id="w-call",
        className="call-band",
        **{"data-call": "none"},
    )


def glance() -> Component:
    """State, turns, altitude left: what must be read in two seconds."""
    left = html.Table(
        [
            html.Thead(
                html.Tr(
                    [
                        html.Th(html.Span("Bound", className="unseen"), scope="col"),
                        *(html.Th(u, scope="col") for u in ("feet", "seconds", "turns")),
                    ]
                )
            ),
            html.Tbody(
                [
                    html.Tr(
                        [
                            html.Th(words, scope="row", id=f"w-left-{row}-head"),
                            *(html.Td("-", id=f"w-left-{row}-{unit}") for unit in ("ft", "s", "turns")),
                        ],
                        className=row,
                    )
                    for row, words in (("bound", "cautious"), ("median", "median"))
                ]
            ),
        ],
        className="left-table",
    )
    return html.Div(
        [
            _cell(
                "State",
                _words("w-phase", "glance-word", "NO DATA YET"),
                _words("w-kind", "glance-kind"),
                _words("w-mode", "glance-kind"),
                tag=html.Span("OSCILLATORY", id="w-oscillatory", hidden=True),
                identifier="w-state-cell",
            ),
            _cell(
                "Turns",
                html.Div(
                    [
                        html.Span("-", id="w-turns", className="glance-number"),
                        html.Span([html.Span(id="w-planned"), html.Small(id="w-planned-words")], className="glance-of"),
                    ],
                    className="turn-line",
                ),
                html.Div(
                    [html.Div(id="w-turn-fill"), html.Div(id="w-turn-marks")], className="turn-bar", id="w-turn-bar"
                ),
                _words("w-turn-facts", "facts"),
                tag=html.Span(id="w-card-slot", className="card-slot"),
                identifier="w-turns-cell",
            ),
            _cell(
                "Altitude left above the recovery floor", left, _words("w-left-note", "facts"), identifier="w-left-cell"
            ),
        ],
        className="glance",
    )


def pictures() -> Component:
    """Height against turns and floors, live strips, call log."""
    strips = [
        html.Div(
            [
                html.Div(
                    [html.Span(name), html.Strong("-", id=f"w-now-{key}"), html.Span(unit)], className="strip-name"
                ),
                html.Div(id=f"w-strip-{key}", className="strip-plot"),
                html.Div(id=f"w-scale-{key}", className="strip-scale"),
            ],
            className="strip",
        )
        for key, name, unit in STRIPS
    ]
    return html.Div(
        [
            _cell(
                "Height, feet, against turns",
                html.Div(
                    html.Canvas(id="w-height", role="img", **{"aria-label": "Height picture"}), className="canvas-box"
                ),
                tag=action_button("Move a floor", identifier="w-floors", key="F"),
                identifier="w-height-cell",
            ),
            _cell(
                "Last 60 seconds",
                html.Div(strips, className="strips"),
                html.Form(id="w-floors-form", className="floors-form", hidden=True),
                identifier="w-strips-cell",
            ),
            _cell(
                "Calls and marks",
                html.Ol(id="w-log", className="log", tabIndex=0, **{"aria-label": "Calls and marks, newest first"}),
                tag=_unheard(),
                identifier="w-log-cell",
            ),
        ],
        className="pictures",
    )


def _unheard() -> Component:
    """Appears when a call did not sound in time here; shows those calls alone."""
    button = action_button("", identifier="w-unheard", key="U")
    button.hidden = True
    return button


def keys() -> Component:
    """Marks and manual calls: mouse or the single key drawn on each button. The scripts fill form, name and volume."""
    return html.Section(
        [
            html.H2("Marks and calls", className="unseen"),
            html.Span("Mark", className="group"),
            action_button("Controls applied", identifier="w-mark-controls_applied", key="C"),
            action_button("Acknowledge", identifier="w-mark-acknowledge", key="K"),
            action_button("Note", identifier="w-mark-note", key="N"),
            html.Span("Call", className="group"),
            action_button("Recover", identifier="w-say-recover", key="R"),
            action_button("Chute", identifier="w-say-chute", key="H"),
            action_button("Abandon", identifier="w-say-abandon", key="B"),
            html.Form(id="w-note", hidden=True),
            html.Span(id="w-mark-answer", className="mark-answer", role="status"),
            html.Span(id="w-volume-slot", className="volume"),
            action_button("Test sound", identifier="w-test", key="Y"),
        ],
        className="keys",
    )
