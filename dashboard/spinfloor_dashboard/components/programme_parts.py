"""The parts of the Programme page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from spinfloor_dashboard.components import plan_panels, programme_figures, reprocess
from spinfloor_dashboard.components.common import action_button, badge, empty, panel, utc_time
from spinfloor_dashboard.components.programme_figures import kind_of
from spinfloor_dashboard.components.words import known, levelled, loss, number, plural

Row = Mapping[str, Any]
GRAPH = {"displayModeBar": False, "responsive": True}
QUANTITIES = (
    ("recovery_turns", "Recovery turns", "", 2),
    ("loss_per_turn_ft", "Loss per turn", "ft", 0),
    ("pull_out_loss_ft", "Dive and pull-out loss at 10,000 ft", "ft", 0),
)


def choose(names: Sequence[str], fault: str | None) -> Component:
    """The aircraft there are."""
    if fault:
        return html.P(fault)
    if not names:
        return empty(
            "Nothing has been flown yet.",
            "A programme builds up from flights. Rehearsals teach nothing and are left out.",
        )
    links = [
        dcc.Link(html.B(name), href="/programme?" + urlencode({"aircraft": name}), className="choice") for name in names
    ]
    return html.Div(links)


def state(found: Row) -> Component:
    """In one line: flown, open, standing against going on."""
    unsigned = sum(1 for point in found["surprises"] if not point["signed_off"])
    coming = next((card for card in found["gate"] if card["card"] == found["next_card"]), None)
    words = (
        "every card of the newest plan has been flown"
        if coming is None
        else f"next card {coming['card']}: {coming['state']}"
    )
    return html.Div(
        [
            badge(plural(len(found["sorties"]), "flight")),
            badge(plural(len(found["spins"]), "spin")),
            badge(words, "good" if coming is None or coming["state"] == "open" else "caution"),
            badge(
                "nothing left to sign off" if not unsigned else f"{unsigned} to sign off",
                "caution" if unsigned else "good",
            ),
        ],
        className="link-row",
    )


def development(spins: Sequence[Row]) -> Component:
    """Recovery turns and losses against turns held."""
    if not spins:
        return panel("How recovery develops", empty("No spin has been flown.", "Spins of flights appear here."))
    drawn = (
        ("recovery_turns", "Recovery turns against turns held", "recovery turns"),
        ("loss_ft", "Height lost against turns held", "start to level flight, ft"),
    )
    level = [spin for spin in spins if levelled(spin)]
    figures = [
        html.Div(
            dcc.Graph(
                figure=programme_figures.against_turns(level if value == "loss_ft" else spins, value, title, axis),
                config=GRAPH, className="figure", id=f"programme-{value.replace('_', '-')}",
            ),
            role="img", **{"aria-label": title},
        )
        for value, title, axis in drawn
    ]  # fmt: skip
    return panel("How recovery and loss develop", html.Div(figures, className="two"), note="by kind of spin")


def learnt(kinds: Sequence[Row], version: int) -> Component:
    """What is predicted of the next spin of each kind, and how sure."""
    if not kinds:
        return panel("What has been learnt", empty("Nothing yet.", "The plan's priors hold until a spin is flown."))
    head = [html.Th("Kind of spin"), html.Th("Own spins")]
    head += [html.Th(f"{words}, {unit}" if unit else words) for _, words, unit, _ in QUANTITIES]
    rows = [
        html.Tr(
            [
                html.Th(kind_of(kind), scope="row"),
                html.Td(str(kind["own_spins"])),
                *(html.Td(_interval(kind["quantities"][key], digits)) for key, _, _, digits in QUANTITIES),
            ]
        )
        for kind in kinds
    ]
    figure = programme_figures.learnt_figure(
        kinds, "recovery_turns", "Recovery turns of the next spin", "recovery turns"
    )
    return panel(
        "What has been learnt, and how sure",
        html.Div(
            [
                html.Table([html.Thead(html.Tr(head)), html.Tbody(rows)], className="plain"),
                html.Div(
                    dcc.Graph(figure=figure, config=GRAPH, className="figure", id="programme-learnt"),
                    role="img",
                    **{"aria-label": "Prediction of recovery turns per kind, before the first spin and now"},
                ),
            ],
            className="wide-left",
        ),
        note=f"next spin of the kind: expected (95 % of cases); beliefs version {version}",
    )


def _interval(quantity: Row, digits: int) -> list[Any]:
    now, prior = quantity["now"], quantity["prior"]
    return [
        html.B(number(now["location"], digits)),
        f" ({number(now['low'], digits)} to {number(now['high'], digits)})",
        html.Br(),
        html.Span(
            f"before: {number(prior['location'], digits)} "
            f"({number(prior['low'], digits)} to {number(prior['high'], digits)})",
            className="soft",
        ),
    ]


def surprises(points: Sequence[Row]) -> Component:
    """Everything that stands against going on, with its sign-off or the form for it."""
    if not points:
        return panel(
            "Surprises", html.P("None: every recovery lay inside its 99 % prediction, the floor and the rule.")
        )
    return panel(
        "Surprises",
        html.Div(
            [_point(point) for point in sorted(points, key=lambda point: bool(point["signed_off"]))],
            className="points",
            tabIndex=0,
            role="region",
            **{"aria-label": "Surprises, those to sign off first"},
        ),
        note="each closes the next card until someone has looked and says why the build-up may go on",
    )


def _point(point: Row) -> Component:
    where = "/debrief?" + urlencode({"sortie": point["sortie"], "spin": point["spin"]})
    signed = point["signed_off"]
    prefix = f"spin {point['spin']} of {point['sortie']}: "  # the link beside it says so already
    head_line = html.Div(
        [
            badge("signed off", "good") if signed else badge("stands against going on", "caution"),
            dcc.Link(f"spin {point['spin']} of {point['sortie']}", href=where),
            html.Span("; ".join(words.removeprefix(prefix) for words in point["what"])),
        ],
        className="link-row",
    )
    if signed:
        rest: Component = html.P([f"By {signed['by']}, ", utc_time(signed["time_ns"]), f": {signed['reason']}"])
    else:
        key = f"{point['sortie']}|{point['spin']}"
        button = action_button("Sign off", identifier="x")
        button.id = {"role": "sign-off", "spin": key}
        rest = html.Div(
            [
                dmc.TextInput(id={"role": "sign-by", "spin": key}, label="Who (role)", size="sm", className="field"),
                dmc.TextInput(
                    id={"role": "sign-reason", "spin": key}, label="Why the build-up may go on", size="sm",
                    className="field",
                ),
                button,
            ],
            className="sign-off",
        )  # fmt: skip
    return html.Div([head_line, rest], className="point")


def cards(found: Row) -> Component:
    """Which cards are flown, open, closed, and why."""
    return plan_panels.gate(found["gate"]) or panel("Cards", empty("No plan yet.", "Create a sortie from a plan."))


def _margin(feet_: Any) -> Any:
    """Height above the recovery floor at level flight; a warning below it."""
    low = known(feet_) and feet_ < 0
    return badge(f"{number(-feet_)} below the floor", "warning") if low else number(feet_)


def spin_list(spins: Sequence[Row]) -> Component | None:
    """Every flown spin, newest last."""
    if not spins:
        return None
    head = (
        "Sortie",
        "Spin",
        "Card",
        "Kind",
        "Held",
        "Recovery turns",
        "Loss, ft",
        "Margin, ft",
        "Predicted, ft",
        "Verdict",
    )
    rows = [
        html.Tr(
            [
                html.Td(spin["sortie"]),
                html.Td(
                    dcc.Link(
                        str(spin["spin"]),
                        href="/debrief?" + urlencode({"sortie": spin["sortie"], "spin": spin["spin"]}),
                    )
                ),
                html.Td(spin["card"] or "none"),
                html.Td(kind_of(spin)),
                html.Td(number(spin["recovery_start_turns"], 2)),
                html.Td(number(spin["recovery_turns"], 2)),
                html.Td(loss(spin)),
                html.Td(_margin(spin["margin_ft"])),
                html.Td(number(spin["predicted_margin_ft"])),
                html.Td((spin["verdict"] or {}).get("outcome", "not judged")),
            ]
        )
        for spin in spins
    ]
    table = html.Table([html.Thead(html.Tr([html.Th(w) for w in head])), html.Tbody(rows)], className="plain numbers")
    return panel(
        "Every flown spin",
        html.Div(table, className="scroll", tabIndex=0, role="region", **{"aria-label": "Every flown spin"}),
    )


def again(found: Row, jobs: Sequence[Row]) -> Component | None:
    """Every flight through the detector again."""
    names = [sortie["id"] for sortie in found["sorties"]]
    if not names:
        return None
    scope = {"aircraft": found["aircraft"], "sorties": names}
    note = (
        "with the detector of today, and other settings if asked; flown runs stay in force, nothing is learnt from it"
    )
    return panel("Reprocess", reprocess.form(scope, reprocess.latest(jobs, scope)), note=note)
