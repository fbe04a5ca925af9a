"""The parts of the Debrief page: choosing a sortie, head with exports, spin table, figures, comparison, runs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from spinfloor_dashboard.components import reprocess, spin_figures
from spinfloor_dashboard.components.common import Tone, action_button, badge, empty, panel, utc_time
from spinfloor_dashboard.components.spins import LEAD_NS, SpinMoments
from spinfloor_dashboard.components.words import clock, known, loss, number, plural, spin_name, turns

Row = Mapping[str, Any]
FEW = 10  # of which one is found by looking
GRAPH = {"displayModeBar": False, "responsive": True}
EXPORTS = (
    ("spins", ("csv", "json", "parquet")),
    ("events", ("csv", "ndjson", "json", "parquet", "arrow")),
    ("frames", ("csv", "ndjson", "parquet", "arrow")),
)


def whole(text: str | None) -> int | None:
    """A whole number from the address, None for anything else."""
    return int(text) if text and text.isdigit() and len(text) <= 19 else None


def address(sortie: str, **query: Any) -> str:
    """A Debrief address."""
    return "/debrief?" + urlencode({"sortie": sortie, **{k: v for k, v in query.items() if v is not None}})


def chosen_spin(rows: Sequence[Row], number_: int | None, moment: int | None) -> int | None:
    """The spin to draw: the one named, else the one of the moment (the last begun before it), else the first."""
    ordinals = [int(row["spin"]) for row in rows]
    if number_ is not None or not ordinals:
        return number_ if number_ in ordinals else None
    if moment is None:
        return ordinals[0]
    begun = [int(row["spin"]) for row in rows if int(row["start_ns"]) - LEAD_NS <= moment]
    return begun[-1] if begun else ordinals[0]


def choose(sorties: Sequence[Row], fault: str | None) -> Component:
    """Every sortie to choose from, newest first."""
    if fault:
        return html.Div([html.H1("Debrief", className="page-title"), html.P(fault)])
    items = [
        dcc.Link(
            [html.B(row.get("title") or row["id"]), html.Span(badge(_kind(row))), html.Span(row["aircraft"]),
             html.Span(row["id"]), html.Span(["created ", utc_time(row.get("created_ns"))])],
            href=address(row["id"]), className="choice",
        )
        for row in sorties
    ]  # fmt: skip
    body = items or [empty("No sortie yet.", "Create one on the Plan page, or rehearse one on the Rehearse page.")]
    return html.Div(
        [
            html.H1("Debrief", className="page-title"),
            html.P("Choose a sortie, newest first.", className="page-lead"),
            html.Div(id="archive-import", className="link-row archive-import"),
            _finder(len(items)),
            html.Div(body, className="choices", id="debrief-choices"),
        ]
    )


def _finder(count: int) -> Component | None:
    """Words to find a sortie by; the browser hides the others (`assets/66-find.js`)."""
    if count < FEW:
        return None
    field = dmc.TextInput(
        id="debrief-find", label="Find", placeholder="title, aircraft, date", size="sm", className="field"
    )
    return html.Div(
        [field, html.Span(plural(count, "sortie"), id="debrief-found-count", role="status")],
        className="link-row finder",
    )


def _kind(row: Row) -> str:
    return "rehearsal" if row.get("kind") == "rehearsal" else "flight"


def not_there(sortie: str, fault: str) -> Component:
    """The sortie can't be shown, and why."""
    return html.Div(
        [
            html.H1("Debrief", className="page-title"),
            empty(f"Sortie {sortie} can't be shown.", fault),
            dcc.Link("All sorties", href="/debrief"),
        ]
    )


def head(record: Row, rows: Sequence[Row]) -> Component:
    """Title, facts and everything there is to take away."""
    sortie = str(record["id"])
    facts = (
        ("Aircraft", record["aircraft"]),
        ("Sortie", sortie),
        ("Created", utc_time(record.get("created_ns"))),
        ("Spins", f"{len(rows)}"),
        ("Frames", number((record.get("frames") or {}).get("count"))),
        ("Beliefs used", f"version {record.get('belief_version', 0)}"),
    )
    bar = html.Div(
        [
            html.H1(record.get("title") or "Debrief", className="page-title"),
            badge("rehearsal, not flown" if _kind(record) == "rehearsal" else "flight"),
            html.Span(className="spacer"),
            dcc.Link("All sorties", href="/debrief", className="action"),
            dcc.Link("Watch", href="/?" + urlencode({"sortie": sortie}), className="action"),
            dcc.Link("Plan", href="/plan?" + urlencode({"sortie": sortie}), className="action"),
            html.A("Report", href=f"/v1/sorties/{sortie}/report?format=html", target="_blank", className="action"),
            _export("report", "pdf", "Report, PDF", primary=True),
        ],
        className="page-bar",
    )
    exports = html.Details(
        [
            html.Summary("Exports"),
            *[
                html.Div(
                    [html.Span(what.capitalize()), *[_export(what, form, form) for form in forms]], className="link-row"
                )
                for what, forms in EXPORTS
            ],
            html.Div(
                [
                    html.Span("Archive"),
                    html.A(
                        "zip: plan, frames, events, settings, checksums",
                        href=f"/v1/sorties/{sortie}/archive",
                        download=f"{sortie}.zip",
                        className="action",
                    ),
                ],
                className="link-row",
            ),
        ],
        className="exports",
    )
    pairs = [html.Div([html.Dt(name), html.Dd(value)]) for name, value in facts]
    return html.Div([dcc.Download(id="debrief-download"), bar, html.Dl(pairs, className="record"), exports])


def _export(what: str, form: str, words: str, *, primary: bool = False) -> Component:
    button = action_button(words, identifier="x", primary=primary)
    button.id = {"role": "export", "what": what, "form": form}
    return button


HEAD = ("#", "Card", "Kind", "Entry, ft", "Held", "Turns", "s/turn", "ft/turn", "Recovery turns", "Loss, ft",
        "Margin, ft", "Predicted, ft", "Cautious, ft", "Verdict")  # fmt: skip


def spin_table(sortie: str, rows: Sequence[Row], chosen: int | None) -> Component:
    """One line per spin."""
    if not rows:
        return empty("No spin in this sortie.", "A spin appears here as soon as it has been found in the frames.")
    body = [_spin_row(sortie, row, chosen == row["spin"]) for row in rows]
    head_row = html.Thead(html.Tr([html.Th(word) for word in HEAD]))
    return html.Div(
        html.Table([head_row, html.Tbody(body)], className="plain numbers"),
        className="scroll-wide", tabIndex=0, role="region", id="spin-table", **{"aria-label": "Spins of the sortie"},
    )  # fmt: skip


def _spin_row(sortie: str, row: Row, chosen: bool) -> Component:
    surprise = [html.Br(), badge("surprise: " + ", ".join(row["surprises"]), "caution")] if row["surprises"] else []
    low = known(row["margin_ft"]) and row["margin_ft"] < 0
    margin = badge(f"{number(-row['margin_ft'])} below the floor", "warning") if low else number(row["margin_ft"])
    cells = (
        row["card"] or "none", [spin_name(dict(row)), *surprise], number(row["start_altitude_ft"]),
        turns(row["recovery_start_turns"]), turns(row["turns"]), number(row["mean_seconds_per_turn"], 2),
        number(row["mean_loss_per_turn_ft"]), turns(row["recovery_turns"]), loss(row), margin,
        number(row["predicted_margin_ft"]), number(row["predicted_bound_margin_ft"]), _verdict(row["verdict"]),
    )  # fmt: skip
    return html.Tr(
        [
            html.Th(dcc.Link(str(row["spin"]), href=address(sortie, spin=row["spin"])), scope="row"),
            *(html.Td(c) for c in cells),
        ],
        className="chosen" if chosen else "",
    )


def _verdict(verdict: Row | None) -> Any:
    if verdict is None:
        return "not judged yet"
    tones: dict[str, Tone] = {"within": "good", "exceeded": "warning", "not shown": "plain"}
    mark = "" if verdict["verified"] else ", from memory"
    return html.Div(
        [
            badge(verdict["outcome"], tones.get(verdict["outcome"], "plain")),
            html.Div(f"{verdict['source'].split(',')[0]} {verdict['clause']}{mark}", className="soft"),
        ],
        title=f"{verdict['sentence']}. {'; '.join(verdict['notes'])}",
    )


def figures(
    spin: SpinMoments,
    columns: Mapping[str, Sequence[Any]],
    phases: Sequence[tuple[int, int, str]],
    floors: Row,
    moment: int | None,
) -> Component:
    """The three figures of one spin."""
    drawn = (
        ("Body rates against time", spin_figures.rates(columns, spin, phases, moment), "figure-rates"),
        ("Altitude against turns", spin_figures.altitude_against_turns(columns, spin, floors), "figure-altitude"),
        ("Descent helix from the side", spin_figures.descent_helix(columns, spin), "figure-helix"),
    )
    return panel(
        f"Spin {spin.ordinal}: {spin_name(spin.kind)}",
        html.Div(
            [
                html.Div(
                    dcc.Graph(figure=figure, config=GRAPH, className="figure", id=name),
                    role="img",
                    **{"aria-label": words},
                )
                for words, figure, name in drawn
            ],
            className="three",
        ),
        note=f"began {clock(spin.started_ns, millis=True)} UTC; the helix radius is worked out from rotation and alpha",
    )


def comparison(
    sortie: str,
    spins: Sequence[SpinMoments],
    rows: Sequence[Row],
    chosen: SpinMoments | None,
    other: SpinMoments | None,
) -> Component | None:
    """Two spins over one another, or the links to choose the second."""
    if chosen is None or len(spins) < 2:
        return None
    links = [
        dcc.Link(
            f"spin {spin.ordinal}", href=address(sortie, spin=chosen.ordinal, compare=spin.ordinal), className="action"
        )
        for spin in spins
        if spin.ordinal != chosen.ordinal
    ]
    body: list[Any] = [html.Div([html.Span(f"Spin {chosen.ordinal} with"), *links], className="link-row")]
    if other is not None and other is not chosen:
        names = [f"spin {s.ordinal}: {spin_name(s.kind)}" for s in (chosen, other)]
        figure = spin_figures.comparison((names[0], chosen), (names[1], other))
        body.append(
            html.Div(
                [dcc.Graph(figure=figure, config=GRAPH, className="figure", id="figure-compare"),
                 _compare_table(names, rows, chosen, other)],
                className="wide-left",
            )
        )  # fmt: skip
    return panel("Compare two spins", *body)


COMPARED = (
    ("start_altitude_ft", "Entry, ft", 0),
    ("recovery_start_turns", "Turns held", 2),
    ("recovery_turns", "Recovery turns", 2),
    ("mean_seconds_per_turn", "Seconds per turn", 2),
    ("mean_loss_per_turn_ft", "Loss per turn, ft", 0),
    ("loss_ft", "Loss, ft", 0),
    ("margin_ft", "Margin, ft", 0),
)


def _compare_table(names: Sequence[str], rows: Sequence[Row], one: SpinMoments, two: SpinMoments) -> Component:
    by = {row["spin"]: row for row in rows}
    first, second = by.get(one.ordinal, {}), by.get(two.ordinal, {})
    body = []
    for key, words, digits in COMPARED:
        a, b = first.get(key), second.get(key)
        difference = number(b - a, digits, sign=True) if a is not None and b is not None else number(None)
        body.append(
            html.Tr(
                [
                    html.Th(words, scope="row"),
                    html.Td(number(a, digits)),
                    html.Td(number(b, digits)),
                    html.Td(difference),
                ]
            )
        )
    head_row = html.Tr([html.Th("What"), html.Th(names[0]), html.Th(names[1]), html.Th("Difference")])
    return html.Table([html.Thead(head_row), html.Tbody(body)], className="plain")


def runs(
    sortie: str, found: Row, before: str | None, differences: Row | None, fault: str | None, job: Row | None = None
) -> Component:
    """The runs of the sortie and what the one in force changed against another."""
    current = found["current"]
    items = [
        html.Tr(
            [
                html.Th([run["run"], " ", badge("reprocessed")] if run.get("rerun") else run["run"], scope="row"),
                html.Td(plural(run["events"], "event")),
                html.Td(
                    "in force" if run["run"] == current
                    else dcc.Link("compare with the one in force", href=address(sortie, before=run["run"]))
                ),
            ]
        )
        for run in found["runs"]
    ]  # fmt: skip
    body: list[Any] = [
        html.Table(html.Tbody(items), className="plain") if items else empty("No run yet.", "Send frames.")
    ]
    if fault:
        body.append(html.P(fault))
    if differences is not None:
        body.append(_differences(before or "", differences))
    body.append(reprocess.form({"sorties": [sortie]}, job))
    return panel(
        "Runs", *body, note="a run names the detector's version and settings; the flown one is never written over"
    )


def _differences(before: str, found: Row) -> Component:
    if found["same"]:
        return html.P(f"No difference between {before} and the run in force.")
    rows = [
        (f"spin {d['spin']}: {d['what'].replace('_', ' ')}", str(d["before"]), str(d["after"])) for d in found["spins"]
    ]
    rows += [
        (f"call {d['words']}", clock(d["before_ns"], millis=True), clock(d["after_ns"], millis=True))
        for d in found["calls"]
    ]
    head_row = html.Tr([html.Th("What differs"), html.Th(before), html.Th("in force")])
    return html.Table(
        [html.Thead(head_row), html.Tbody([html.Tr([html.Td(c) for c in row]) for row in rows])], className="plain"
    )
