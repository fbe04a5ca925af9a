"""The score sheet on a terminal."""

from __future__ import annotations

from typing import Any

from spinfloor.replay.score_text import score_text

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


def test_the_last_tenth_of_a_minute_is_the_next_minute() -> None:
    late = {**LINE, "due_ns": 10 * S + 59_970_000_000}
    assert "\n1:00.0  recover" in score_text({**SHEET, "lines": [late]})
