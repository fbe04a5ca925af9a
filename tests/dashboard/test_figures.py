"""Figures and form helpers of the pages beside Watch: pure functions, checked by hand-worked numbers."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import plotly.graph_objects as go
import pytest
from plotly.offline import get_plotlyjs_version

import spinfloor_dashboard
from spinfloor_dashboard.components import drafts, plan_text, spin_figures
from spinfloor_dashboard.components.budget_figure import budget_figure, needed_ft
from spinfloor_dashboard.components.cards_grid import arrange, cards_from, rows
from spinfloor_dashboard.components.event_words import describe
from spinfloor_dashboard.components.plan_fields import faults_by_card, faults_by_field, put
from spinfloor_dashboard.components.spins import phase_spans, split, turns_at

ASSETS = Path(spinfloor_dashboard.__file__).parent / "assets"
S = 1_000_000_000


def event(kind: str, at: float, /, **data: Any) -> dict[str, Any]:
    return {"kind": kind, "time_ns": int(at * S), "detected_ns": int(at * S), "data": data}


EVENTS = [
    event("phase", 9.0, **{"from": "flight", "to": "incipient"}),
    event("spin.started", 10.0, orientation="upright", direction="right", sense_from_above="clockwise",
          altitude_ft=10_000.0),
    event("spin.turn", 13.0, turns=1.0, turns_about_vertical=0.8, altitude_ft=9_500.0),
    event("phase", 13.0, **{"from": "incipient", "to": "developed"}),
    event("spin.turn", 15.0, turns=2.0, turns_about_vertical=1.8, altitude_ft=9_100.0),
    event("recovery.started", 15.5, turns=2.2, altitude_ft=9_000.0, source="controls"),
    event("spin.ended", 17.0, turns=3.0, turns_about_vertical=2.8, altitude_ft=8_700.0),
]  # fmt: skip


# check values: the steady vertical spin rows "alpha, period, p, r, R ft" (computed there, g = 32.17405 ft/s2)
@pytest.mark.parametrize(
    ("alpha", "p", "r", "radius"),
    [
        (30, 103.9230, 60.0, 12.7043),
        (45, 84.8528, 84.8528, 7.3348),
        (60, 90.0, 155.8846, 1.8821),
        (80, 34.7296, 196.9616, 0.4656),
    ],
)
def test_helix_radius(alpha: float, p: float, r: float, radius: float) -> None:
    assert spin_figures.helix_radius_ft(p, r, alpha) == pytest.approx(radius, abs=6e-5)
    assert spin_figures.helix_radius_ft(p, r, None) == pytest.approx(radius, abs=6e-5)
    assert spin_figures.helix_radius_ft(-p, -r, alpha) == pytest.approx(radius, abs=6e-5)


def test_no_rotation_has_no_helix() -> None:
    assert spin_figures.helix_radius_ft(1.0, 1.0, 45.0) is None


def test_turns_run_straight_between_marks() -> None:
    (spin,) = split(EVENTS)
    assert turns_at(spin, int(11.5 * S)) == pytest.approx(0.5)
    assert turns_at(spin, 14 * S, about_vertical=True) == pytest.approx(1.3)
    assert turns_at(spin, 9 * S) is None
    assert turns_at(spin, 18 * S) is None
    assert (spin.ended_ns, spin.recovery_ns, spin.level_ns) == (17 * S, int(15.5 * S), None)


def test_phases_cover_the_window() -> None:
    assert phase_spans(EVENTS, 10 * S, 20 * S) == [(10 * S, 13 * S, "incipient"), (13 * S, 20 * S, "developed")]


def test_every_figure_is_one_plotly_takes_and_uses_neither_red_nor_amber() -> None:
    (spin,) = split(EVENTS)
    times = [int((9 + place / 10) * S) for place in range(90)]
    columns: dict[str, list[Any]] = {
        "time_ns": times,
        "roll_rate_dps": [80.0] * 90,
        "pitch_rate_dps": [None] * 90,
        "yaw_rate_dps": [85.0] * 90,
        "pressure_altitude_ft": [10_000.0 - 15.0 * place for place in range(90)],
    }
    figures = [
        spin_figures.rates(columns, spin, phase_spans(EVENTS, 9 * S, 18 * S), 12 * S),
        spin_figures.altitude_against_turns(columns, spin, {"recovery_ft": 5_000.0, "chute_ft": None}),
        spin_figures.descent_helix(columns, spin),
        spin_figures.comparison(("one", spin), ("two", spin)),
    ]
    for figure in figures:
        go.Figure(figure)
        assert figure["data"]
        assert "#ff4b3e" not in str(figure)
        assert "#ffb000" not in str(figure)


def test_a_helix_of_a_left_spin_mirrors_a_right_one() -> None:
    (right,) = split(EVENTS)
    (left,) = split(EVENTS)
    left.kind["sense_from_above"] = "anticlockwise"
    times = [int((10 + place / 10) * S) for place in range(60)]
    columns: dict[str, Sequence[Any]] = {"time_ns": times, "roll_rate_dps": [80.0] * 60, "yaw_rate_dps": [85.0] * 60,
               "pressure_altitude_ft": [9_000.0] * 60}  # fmt: skip
    one = spin_figures.descent_helix(columns, right)["data"][1]["x"]
    other = spin_figures.descent_helix(columns, left)["data"][1]["x"]
    assert [x for x in one if x] == pytest.approx([-x for x in other if x])


def card(entry: float, enough: bool) -> dict[str, Any]:
    parts = [{"name": "planned turns", "loss_ft": 1_500.0}, {"name": "dive and pull-out", "loss_ft": 1_000.0}]
    return {
        "card": "a",
        "entry_ft": entry,
        "floor_ft": 5_000.0,
        "parts": parts,
        "allowance_ft": 500.0,
        "enough": enough,
        "cautious_level_ft": entry - 3_000.0,
        "cautious_margin_ft": entry - 8_000.0,
        "shortfall_ft": max(8_000.0 - entry, 0.0),
    }


def test_the_budgets_stack_reaches_the_height_needed() -> None:
    figure = budget_figure([card(10_000.0, True)], {"abandon": 4_500.0})
    go.Figure(figure)
    assert sum(bar["y"][0] for bar in figure["data"] if bar["type"] == "bar") == pytest.approx(
        needed_ft(card(10_000.0, True))
    )
    assert needed_ft(card(10_000.0, True)) == 8_000.0


def test_a_card_too_low_says_how_much() -> None:
    words = [note["text"] for note in budget_figure([card(7_600.0, False)], {})["layout"]["annotations"]]
    assert "short 400 ft" in words


def test_faults_find_their_field_and_card() -> None:
    faults = [
        {"path": "floors.recovery_ft", "expected": "a value", "got": "nothing"},
        {"path": "cards[2].turns", "expected": "more", "got": "-1"},
        {"path": "", "expected": "a mapping", "got": "a list"},
    ]
    assert faults_by_field(faults) == {"floors.recovery_ft": ["expected a value; got nothing"]}
    assert faults_by_card(faults) == {2: ["Turns: expected more; got -1"]}


def test_undo_and_redo_walk_the_same_steps() -> None:
    one = drafts.changed(None, put(drafts.BLANK, "title", "a"), "fields", "title changed")
    two = drafts.changed(one, put(one["plan"], "floors.recovery_ft", 5_000), "fields", "floor changed")
    back = drafts.undone(two)
    assert back is not None
    assert back["plan"] == one["plan"]
    again = drafts.redone(back)
    assert again is not None
    assert again["plan"] == two["plan"]
    assert drafts.undone(drafts.fresh()) is None


def test_cards_survive_the_grid_and_are_rearranged() -> None:
    cards = [{"id": "a", "direction": "left", "turns": 1.0}, {"id": "b", "direction": "right", "turns": 2.0}]
    assert cards_from(rows(cards, {})) == cards
    moved = arrange(cards, "down", 0)
    assert moved is not None
    assert [c["id"] for c in moved[0]] == ["b", "a"]
    added = arrange(cards, "add", None)
    assert added is not None
    assert (added[0][-1]["id"], added[0][-1]["turns"]) == ("card-3", 3.0)
    assert arrange(cards, "up", 0) is None


@pytest.mark.parametrize("text", ["- a\n", "a: [", "", "a: &x 1\nb: *x\n", "\t{"])
def test_text_that_is_no_plan_is_refused_in_words(text: str) -> None:
    with pytest.raises(plan_text.PlanTextError, match="the plan here is unchanged"):
        plan_text.parse(text)


def test_plan_text_goes_both_ways() -> None:
    plan = {"title": "Spin “one”", "cards": [{"id": "a"}]}
    assert plan_text.parse(plan_text.to_yaml(plan)) == plan
    assert plan_text.parse(plan_text.to_json(plan)) == plan


def test_the_figure_library_is_the_one_that_dash_was_made_for() -> None:
    wanted = get_plotlyjs_version()
    library = ASSETS / "vendor" / "plotly" / "plotly-basic.min.js"
    assert f"v{wanted}" in library.read_text(encoding="utf-8")[:200]
    # The address names the version, so that a browser that kept an older one asks again.
    assert f"plotly-basic.min.js?m={wanted}" in (ASSETS / "63-figures.js").read_text(encoding="utf-8")


def test_a_call_tells_both_altitudes_left_once_and_none_when_nothing_is_ahead() -> None:
    data = {"call": "turn", "words": "one", "altitude_left_ft": 715.0, "altitude_left_bound_ft": 9.0}
    assert describe({"kind": "call", "data": data}) == "“one”; altitude left 9 ft cautious, 715 ft median"
    said = {**data, "reason": "9 ft left at the cautious bound, median 715 ft"}
    assert describe({"kind": "call", "data": said}) == f"“one”: {said['reason']}"
    assert describe({"kind": "call", "data": {**data, "call": "status", "words": "recovered"}}) == "“recovered”"


def test_quality_is_told_in_words() -> None:
    quality = {"channel": "yaw_rate_dps", "flag": "clipped", "state": "on"}
    assert describe({"kind": "quality", "data": quality}) == "yaw rate: clipped on"
    assert describe({"kind": "quality", "data": {**quality, "channel": "time_ns", "flag": "gap"}}) == "time: gap on"
