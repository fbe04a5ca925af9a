"""Faults as words on a command line, and the score sheet as text."""

from __future__ import annotations

from typing import Any

import pytest

from spinfloor.replay.fault_words import BadFaultWordError, fault_from_word
from spinfloor.replay.score_text import score_text


@pytest.mark.parametrize(
    ("word", "fault"),
    [
        ("loss@8-12", {"kind": "loss", "from_s": 8.0, "to_s": 12.0}),
        ("loss", {"kind": "loss", "from_s": 0.0}),
        ("delay=2@5-", {"kind": "delay", "seconds": 2.0, "from_s": 5.0}),
        ("clip:yaw_rate_dps=100", {"kind": "clip", "channel": "yaw_rate_dps", "value": 100.0, "from_s": 0.0}),
        ("bias:alpha_deg=-5.5@0-3.5", {"kind": "bias", "channel": "alpha_deg", "value": -5.5, "from_s": 0.0, "to_s": 3.5}),
        ("stuck:roll_rate_dps@9-", {"kind": "stuck", "channel": "roll_rate_dps", "from_s": 9.0}),
    ],
)  # fmt: skip
def test_words_of_faults(word: str, fault: dict[str, Any]) -> None:
    assert fault_from_word(word).model_dump(exclude_none=True) == fault


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("", "KIND"),
        ("lost@8-12", "kind"),
        ("loss@12", "for example loss@8-12"),
        ("delay", "seconds with the fault delay"),
        ("clip=3", "a channel with the fault clip"),
        ("clip:yaw_rate_dps", "a value with the fault clip"),
        ("bias:heading=3", "channel"),
        ("delay=1.2.3", "float"),
        ("loss@1.2.3-4", "float"),
    ],
)
def test_what_is_no_fault_is_refused_with_a_sentence(word: str, says: str) -> None:
    with pytest.raises(BadFaultWordError) as caught:
        fault_from_word(word)
    assert says in caught.value.sentence
    assert "no rehearsal was started" in caught.value.sentence
    assert caught.value.exit_code == 2


S = 1_000_000_000
LINE: dict[str, Any] = {
    "call": "recover", "words": "recover", "reason": "planned turns", "spin": 1, "due_ns": 83 * S, "tool_ns": 84 * S,
    "person_ns": 81 * S, "person_by": "engineer", "margin_due": {"median_ft": 2512.4, "bound_ft": -80.0},
    "margin_tool": {"median_ft": 2400.0, "bound_ft": None}, "margin_person": None, "tool_late_s": 1.0,
    "person_late_s": -2.0, "tool_says": "in time", "person_says": "early",
}  # fmt: skip
SHEET: dict[str, Any] = {
    "sortie": "r1", "recording": "r02", "recording_title": None, "complete": False, "start_ns": 10 * S, "in_time_s": 1.0,
    "faults": [{"kind": "clip", "channel": "yaw_rate_dps", "value": 100.0, "from_s": 2.0}], "crew_response_turns": -1,
    "lines": [LINE], "counts": {"tool": {"in time": 1, "late": 0}, "person": {"early": 1}},
}  # fmt: skip


def test_a_score_sheet_reads_line_by_line() -> None:
    text = score_text(SHEET)
    assert "what went wrong: clip yaw_rate_dps 100 from 2 s to the end; crew 1 turn early" in text
    assert "not played to its end" in text
    row = next(line for line in text.splitlines() if line.startswith("1:13.0"))
    cells = [cell for cell in row.split("  ") if cell]
    assert [cell.strip() for cell in cells] == [
        "1:13.0", "recover", "1", "in time +1.0 s", "early -2.0 s, engineer", "2,512 (-80)", "2,400 (-)", "-",
    ]  # fmt: skip
    assert "tool: 1 in time" in text
    assert "the approved test plan decide" in text


def test_a_recording_without_calls_says_so() -> None:
    assert "No call was due." in score_text({**SHEET, "lines": [], "counts": {"tool": {}, "person": {}}})
