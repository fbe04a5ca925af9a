"""The load benchmark's page: what it says follows from what was measured."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.tools.load import flight
from tests.tools.load.flight import frames
from tests.tools.load.page import Row, as_table, most, write_page
from tests.tools.load.point import Point
from tests.tools.measured_page import BEGIN, END

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Kind
from spinfloor.core.plan.load import plan_from

LIMIT_MS = 20.0
ROWS = [
    Row("one process", Point(1, 100.0, 50, 3.0, 9.0, 0.0, 0.05, 260.0)),
    Row("one process", Point(10, 100.0, 500, 4.0, 15.0, 0.0, 0.30, 280.0)),
    Row("one process", Point(40, 100.0, 500, 9.0, 45.0, 0.0, 0.90, 320.0)),
    Row("1 detector", Point(10, 100.0, 500, 6.0, 19.0, 0.0, 0.60, 700.0)),
    Row("1 detector", Point(20, 100.0, 500, 7.0, 19.0, 0.0, 0.90, 700.0, ["refused: overloaded"])),
]


def test_a_late_point_or_a_refusal_does_not_count_as_carried() -> None:
    best = most(ROWS, "one process", LIMIT_MS)
    assert best is not None
    assert best.sorties == 10
    best = most(ROWS, "1 detector", LIMIT_MS)
    assert best is not None
    assert best.sorties == 10


def test_the_page_is_rewritten_between_its_marks_again_and_again(tmp_path: Path) -> None:
    page = tmp_path / "load.md"
    page.write_text(f"# Load\n\n{BEGIN}\n\nold\n\n{END}\n\nrest\n", encoding="utf-8")
    write_page(ROWS, LIMIT_MS, page)
    once = page.read_text(encoding="utf-8")
    write_page(ROWS, LIMIT_MS, page)
    assert page.read_text(encoding="utf-8") == once
    assert "old" not in once
    assert once.endswith("rest\n")
    assert as_table(ROWS) in once
    # 0.6 cores for 10 sorties is 0.06 each; 1,000 of them at 60 % use of a core are 100 cores.
    assert "| 1,000 | 100,000 | 16.0 | spread out | 100 |" in once
    page.write_text("no marks", encoding="utf-8")
    with pytest.raises(ValueError, match="marks"):
        write_page(ROWS, LIMIT_MS, page)


def test_the_flight_gives_two_events_a_second() -> None:
    seconds = 8.0
    events = Detector(sortie="l", plan=plan_from(flight.PLAN)).feed(frames(100.0, seconds))
    told = [e for e in events if e.kind in (Kind.SPIN_TURN, Kind.CALL)]
    assert len(told) >= 2 * (seconds - 3)
