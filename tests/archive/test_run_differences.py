"""What differs between two runs of one sortie, worked out from runs whose difference is known beforehand."""

from __future__ import annotations

from typing import Any

import pytest
from tests.serving_thread import frames, plan_data

from spinfloor.archive.rerun_model import merged
from spinfloor.archive.run_differences import run_differences
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event
from spinfloor.core.plan.load import plan_from


def run(**changes: Any) -> list[Event]:
    return Detector(sortie="s", plan=plan_from(merged(plan_data(data_age_limit_s=10.0), changes))).feed(frames())


@pytest.fixture(scope="module")
def flown() -> list[Event]:
    """A pair of spins."""
    return run()


def test_a_run_beside_itself_is_the_same(flown: list[Event]) -> None:
    found = run_differences(flown, run(), plan_data())
    assert found == {"same": True, "events": [len(flown)] * 2, "spins": [], "calls": []}


def test_a_higher_floor_changes_margins_by_its_height_and_calls_in_the_order_of_time(flown: list[Event]) -> None:
    higher = run(floors={"recovery_ft": plan_data()["floors"]["recovery_ft"] + 2_500.0})
    found = run_differences(flown, higher, plan_data())
    assert found["same"] is False
    margins = [d for d in found["spins"] if d["what"] == "margin_ft"]
    assert [d["spin"] for d in margins] == [1, 2]
    assert [d["before"] - d["after"] for d in margins] == pytest.approx([2_500.0, 2_500.0])
    assert not {d["what"] for d in found["spins"]} & {"turns", "start_ns", "end_ns", "mode", "direction"}
    when = [min(t for t in (c["before_ns"], c["after_ns"]) if t is not None) for c in found["calls"]]
    assert when == sorted(when)


def test_turned_round_before_and_after_change_places(flown: list[Event]) -> None:
    other = run(timing={"reaction_s": 3.0})
    there, back = run_differences(flown, other, plan_data()), run_differences(other, flown, plan_data())
    once = {(d["spin"], d["what"], d["before"], d["after"]) for d in there["spins"]}
    assert once == {(d["spin"], d["what"], d["after"], d["before"]) for d in back["spins"]}
    only = [c for c in there["calls"] if c["before_ns"] is None]
    assert len(only) == len([c for c in back["calls"] if c["after_ns"] is None]) > 0


def test_a_spin_that_one_run_does_not_see_is_named(flown: list[Event]) -> None:
    first = next(e for e in flown if e.kind == "spin.started")
    second = next(e for e in flown if e.kind == "spin.started" and e.time_ns > first.time_ns)
    less = [e for e in flown if e.time_ns < second.time_ns]
    found = run_differences(flown, less, plan_data())["spins"]
    assert {"spin": 2, "what": "only in the first run", "before": second.time_ns, "after": None} in found
    found = run_differences(less, flown, plan_data())["spins"]
    assert {"spin": 2, "what": "only in the second run", "before": None, "after": second.time_ns} in found
