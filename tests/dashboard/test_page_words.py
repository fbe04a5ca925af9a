"""Words and numbers of the pages beside Watch."""

from typing import Any

import pytest
from tests.places import RECORDINGS

from spinfloor_dashboard.components import plan_panels, rehearse_parts, spin_figures
from spinfloor_dashboard.components.event_words import describe
from spinfloor_dashboard.components.spins import split
from spinfloor_dashboard.components.words import loss, number


def told(kind: str, **data: Any) -> str:
    return describe({"kind": kind, "data": data})


def test_a_loss_that_is_not_down_to_level_flight_says_so() -> None:
    assert loss({"loss_ft": 3_964.0, "level_altitude_ft": 12_102.0}) == "3,964"
    assert loss({"loss_ft": 1_125.8, "level_altitude_ft": None}) == "1,126 to its end"
    assert loss({"loss_ft": None, "level_altitude_ft": None}) == "not known"


@pytest.mark.parametrize(("value", "words"), [(-1_281.4, "\u22121,281"), (-0.4, "0"), (12.0, "12")])
def test_a_number_below_zero_has_a_minus(value: float, words: str) -> None:
    assert number(value) == words


def test_a_turn_is_told_against_the_plan() -> None:
    call = {"call": "turn", "words": "five", "reason": "whole turn: 5.3 turns", "turns": 5.3}
    assert told("call", **call, planned_turns=5.0) == "\u201cfive\u201d: 5.3 of 5 planned turns"
    assert told("call", **call) == "\u201cfive\u201d: 5.3 turns so far"


def test_a_reason_that_is_the_words_again_is_left_out() -> None:
    assert told("call", call="caution", words="flattening", reason="flattening") == "\u201cflattening\u201d"
    assert told("call", call="recover", words="recover", reason="used up: -117 ft, median -5 ft") == (
        "\u201crecover\u201d: used up: \u2212117 ft, median \u22125 ft"
    )


def test_floors_links_and_acknowledgements_in_words() -> None:
    crossed = {"floor": "chute", "floor_ft": 18_200.0, "altitude_ft": 18_198.6}
    assert (
        told("floor.crossed", **crossed, in_spin=True, estimated=False)
        == "chute floor 18,200 ft, at 18,199 ft, in the spin"
    )
    assert told("floor.crossed", **crossed, in_spin=False, estimated=True).endswith("not in a spin; estimated")
    assert told("link", state="restored", seconds=3.5) == "data back"
    assert (
        told("mark", mark="acknowledge", by="conductor", sequence=20, call="recover")
        == "acknowledge by conductor: call recover"
    )


def test_names_of_floors_close_to_one_another_do_not_cover_each_other() -> None:
    events = [{"kind": "spin.started", "time_ns": 0, "data": {"altitude_ft": 23_477.0}}]
    floors = {"recovery_ft": 18_500.0, "chute_ft": 18_200.0, "abandon_ft": 17_500.0}
    figure = spin_figures.altitude_against_turns({}, split(events)[0], floors)
    recovery, chute, _abandon = figure["layout"]["annotations"]
    assert (recovery["x"], recovery["yanchor"]) != (chute["x"], chute["yanchor"])
    assert chute["x"] >= recovery["x"] + 0.2  # "recovery floor 18,500 ft" is a fifth of the narrowest figure


def test_a_card_its_budget_refuses_is_not_open() -> None:
    short: dict[str, Any] = {
        "cards": [{"card": "A1", "enough": False, "shortfall_ft": 306.0}, {"card": "A2", "enough": True}]
    }
    rows: list[dict[str, Any]] = [
        {"card": "A1", "state": "open"},
        {"card": "A2", "state": "closed", "reasons": ["card A1 comes first"]},
    ]
    told_now = str(plan_panels.gate(rows, short))
    assert "next, too low" in told_now
    assert "its altitude budget refuses it: 306 ft short" in told_now
    assert "'open'" not in told_now
    assert "too low" not in str(plan_panels.gate(rows, None))


def test_moments_to_place_a_fault_at_are_read_from_the_recordings_page() -> None:
    notes = (RECORDINGS / "r02-left-right-pair.md").read_text(encoding="utf-8")
    moments = dict(rehearse_parts.told_moments(notes))
    assert moments["16.2"].startswith("recovery controls")
    assert rehearse_parts.told_moments("# A recording\n\nNothing is told of it.") == []
    row = {"id": "r", "title": "R", "summary": "", "file": "r.parquet", "notes": notes}
    assert "recovery controls" in str(rehearse_parts.recordings([row], "r"))
    assert "recovery controls" not in str(rehearse_parts.recordings([row], None))


def test_a_line_of_the_score_sheet_gives_reasons_that_say_something() -> None:
    names = ("due_ns", "spin", "tool_says", "tool_late_s", "person_says", "person_late_s", "person_by")
    line = dict.fromkeys((*names, "margin_due", "margin_tool", "margin_person"))

    def why(words: str, reason: str) -> str:
        made = {**line, "call": "x", "words": words, "reason": reason, "tool_says": "", "person_says": ""}
        sheet = {"faults": [], "crew_response_turns": 0, "lines": [made], "counts": {"tool": {}}, "recording": "r"}
        return str(rehearse_parts.score_sheet({**sheet, "complete": True, "in_time_s": 1.0}))

    assert "whole turn" not in why("five", "whole turn: 5.1 turns")
    assert "5.1 turns" in why("five", "whole turn: 5.1 turns")
    assert "Td(children='flattening'" not in why("flattening", "flattening")
    assert "left: \u22125 ft" in why("recover", "left: -5 ft")
