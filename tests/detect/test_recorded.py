"""A recording with frames missing, analysed: the loss is called and calls go on, as they do when it is played."""

from __future__ import annotations

import numpy as np
import pytest
from tests.places import RECORDINGS

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan
from spinfloor.detect.recorded import feed_recorded

NAME = "r07-data-lost"


@pytest.fixture(scope="module")
def plan() -> Plan:
    """Of the recording in which two seconds are missing in the third turn."""
    return load_plan(RECORDINGS / f"{NAME}.plan.yaml")


@pytest.fixture(scope="module")
def block() -> FrameBlock:
    """Its frames."""
    return read_recording(RECORDINGS / f"{NAME}.parquet").block


def recorded(plan: Plan, block: FrameBlock) -> list[Event]:
    """Events of the recording as `spinfloor analyse` makes them."""
    return feed_recorded(Detector(sortie="s", plan=plan), block, data_age_limit_s=plan.timing.data_age_limit_s)


def test_the_loss_is_called_and_calls_go_on_estimated(plan: Plan, block: FrameBlock) -> None:
    gap = int(np.argmax(np.diff(block.time_ns)))
    lost_ns, back_ns = int(block.time_ns[gap]), int(block.time_ns[gap + 1])
    events = recorded(plan, block)
    assert [e.sequence for e in events] == list(range(len(events)))
    assert [e.data["state"] for e in events if e.kind is Kind.LINK] == ["lost", "restored"]
    inside = [e for e in events if lost_ns < e.detected_ns < back_ns]
    calls = [e.data for e in inside if e.kind is Kind.CALL]
    assert [c["words"] for c in calls] == ["data lost", "recover"]
    assert all(c["estimated"] for c in calls)
    said_ns = next(e.detected_ns for e in inside if e.kind is Kind.LINK)
    assert 500_000_000 <= said_ns - lost_ns <= 600_000_000  # the plan's limit and a fifth of it


def test_whole_recordings_give_what_the_detector_gives(plan: Plan, block: FrameBlock) -> None:
    whole = read_recording(RECORDINGS / "r02-left-right-pair.parquet").block
    detector = Detector(sortie="s", plan=plan)
    assert recorded(plan, whole) == detector.feed(whole)
    assert recorded(plan, block.slice(0, 1)) == Detector(sortie="s", plan=plan).feed(block.slice(0, 1))


@pytest.mark.parametrize("trouble", ["one wild stamp", "an hour between", "two frames a second", "time runs backwards"])
def test_what_is_no_loss_is_not_called_one(plan: Plan, trouble: str) -> None:
    whole = read_recording(RECORDINGS / "r02-left-right-pair.parquet").block
    times, rows = whole.time_ns.copy(), slice(None)
    if trouble == "one wild stamp":
        times[2000] += 7_000_000_000
    elif trouble == "an hour between":
        times[2000:] += 3_600_000_000_000
    elif trouble == "two frames a second":
        rows = slice(None, None, 25)
    else:
        times[2000:] -= 5_000_000_000
    disturbed = FrameBlock(times[rows], np.ascontiguousarray(whole.values[rows]))
    assert [e for e in recorded(plan, disturbed) if e.kind is Kind.LINK] == []
