"""The score sheet: who called what when, against what was due on the undisturbed recording."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from tests.places import RECORDINGS

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.model import Plan
from spinfloor.replay.crew import with_crew_response
from spinfloor.replay.faults import apply_faults
from spinfloor.replay.model import Fault
from spinfloor.replay.score import Sheet, Track, score, undisturbed

S = 1_000_000_000
NO_TRACK = Track(np.empty(0, np.int64), np.empty(0), np.empty(0))


@pytest.fixture(scope="module")
def rehearsed() -> tuple[Plan, FrameBlock]:
    plan = load_plan(RECORDINGS / "r02-left-right-pair.plan.yaml")
    return plan, read_recording(RECORDINGS / "r02-left-right-pair.parquet", plan.channel_map).block


@pytest.fixture(scope="module")
def clean(rehearsed: tuple[Plan, FrameBlock]) -> tuple[list[Event], Track]:
    return undisturbed(rehearsed[0], None, rehearsed[1], "rehearsal")


def call(name: str, at: float, words: str = "", **data: Any) -> Event:
    return Event("r", "run", 0, Kind.CALL, int(at * S), int(at * S), {"call": name, "words": words or name, **data})


def said(name: str, at: float) -> Event:
    return Event(
        "r", "run", 0, Kind.MARK, int(at * S), int(at * S), {"mark": "call_made", "by": "engineer", "call": name}
    )


def lines(sheet: Sheet) -> list[tuple[str, str, str]]:
    return [(line.call, line.tool_says, line.person_says) for line in sheet.lines]


def test_an_undisturbed_rehearsal_is_called_in_time_throughout(clean: tuple[list[Event], Track]) -> None:
    sheet = score(clean[0], clean[0], clean[1])
    assert {line.call for line in sheet.lines} >= {"turn", "recover"}
    assert {line.tool_says for line in sheet.lines} == {"in time"}
    assert sheet.counts["tool"]["in time"] == len(sheet.lines)
    assert sheet.counts["person"]["not called"] == len(sheet.lines)


def test_margin_at_the_recover_call_is_that_of_the_call_itself(clean: tuple[list[Event], Track]) -> None:
    events, track = clean
    sheet = score(events, events, track)
    by_time = {event.detected_ns: event for event in events if event.kind is Kind.CALL}
    recover = [line for line in sheet.lines if line.call == "recover"]
    assert recover
    for line in recover:
        assert line.due_ns is not None
        assert line.margin_due is not None
        told = by_time[line.due_ns].data["altitude_left_ft"]
        # the track is sampled each 0.1 s, in which the aircraft falls some 20 ft
        assert line.margin_due["median_ft"] == pytest.approx(told, abs=40.0)


def test_lost_data_shows_as_missed_turns(rehearsed: tuple[Plan, FrameBlock], clean: tuple[list[Event], Track]) -> None:
    plan, block = rehearsed
    events, track = clean
    start = next(event.time_ns for event in events if event.kind is Kind.SPIN_STARTED)
    since = (start - int(block.time_ns[0])) * 1e-9
    disturbed = apply_faults(block, [Fault(kind="loss", from_s=since, to_s=None)], int(block.time_ns[0]))
    made, _ = undisturbed(plan, None, disturbed, "rehearsal")
    sheet = score(events, made, track)
    assert sheet.counts["tool"]["missed"] > 0
    assert sheet.counts["tool"]["missed"] + sheet.counts["tool"]["in time"] <= len(sheet.lines)


@pytest.mark.parametrize(
    ("at", "says"), [(9.5, "in time"), (10.9, "in time"), (11.5, "late"), (8.0, "early"), (31.0, "not due")]
)
def test_a_persons_call_is_weighed_against_due(at: float, says: str) -> None:
    sheet = score([call("recover", 10.0)], [said("recover", at)], NO_TRACK)
    assert says in [line.person_says for line in sheet.lines]
    assert sheet.lines[0].person_by in ("engineer", None)


def test_a_call_of_another_kind_does_not_count() -> None:
    sheet = score([call("recover", 10.0)], [said("abandon", 10.0), call("caution", 10.0, "flattening")], NO_TRACK)
    assert sorted(lines(sheet)) == [
        ("abandon", "not called", "not due"),
        ("caution", "not due", "not called"),
        ("recover", "missed", "not called"),
    ]


def test_repetitions_are_one_call_and_turns_match_by_their_words() -> None:
    due = [call("turn", 10.0, "one"), call("turn", 12.0, "two"), call("recover", 13.0, repeat=0)]
    made = [call("turn", 12.1, "two"), call("recover", 13.2), call("recover", 15.2, repeat=1)]
    sheet = score(due, made, NO_TRACK)
    assert lines(sheet) == [
        ("turn", "missed", "not called"),
        ("turn", "in time", "not called"),
        ("recover", "in time", "not called"),
    ]


def test_each_mark_is_used_once() -> None:
    due = [call("recover", 10.0), call("recover", 22.0)]
    sheet = score(due, [said("recover", 21.0)], NO_TRACK)
    assert [line.person_says for line in sheet.lines] == ["not called", "in time"]


def test_the_track_gives_the_newest_sample_and_none_where_not_known() -> None:
    track = Track(np.array([10, 20], np.int64), np.array([5.0, np.nan]), np.array([1.0, np.nan]))
    assert track.at(9) is None
    assert track.at(19) == {"median_ft": 5.0, "bound_ft": 1.0}
    assert track.at(25) == {"median_ft": None, "bound_ft": None}
    assert track.at(None) is None


@pytest.mark.parametrize("turns", [2, 1, -1])
def test_crew_response_moves_the_recovery_by_whole_turns(
    rehearsed: tuple[Plan, FrameBlock], clean: tuple[list[Event], Track], turns: int
) -> None:
    plan, block = rehearsed
    moved = with_crew_response(block, clean[0], turns)
    assert bool((np.diff(moved.time_ns) > 0).all())
    events, _ = undisturbed(plan, None, moved, "rehearsal")

    def at_controls(found: list[Event]) -> list[float]:
        return [float(str(e.data["turns"])) for e in found if e.kind is Kind.RECOVERY_STARTED]

    for before, after in zip(at_controls(clean[0]), at_controls(events), strict=True):
        # the repeated turn is the last whole one, so the count moves by whole turns within a tenth of one each
        assert after - before == pytest.approx(turns, abs=0.1 * abs(turns) + 0.05)


def test_crew_response_leaves_a_recovery_alone_that_was_given_up(
    rehearsed: tuple[Plan, FrameBlock], clean: tuple[list[Event], Track]
) -> None:
    """Told twice in one spin, the second is the recovery: the recording is cut there and nowhere else."""
    _, block = rehearsed
    real = next(e for e in clean[0] if e.kind is Kind.RECOVERY_STARTED)
    given_up = dataclasses.replace(real, time_ns=real.time_ns - 3_000_000_000)
    once, twice = (with_crew_response(block, [*clean[0], *more], 1) for more in ([], [given_up]))
    assert np.array_equal(once.time_ns, twice.time_ns)


def test_crew_response_moves_the_height_by_what_the_turns_cost(
    rehearsed: tuple[Plan, FrameBlock], clean: tuple[list[Event], Track]
) -> None:
    plan, block = rehearsed
    later, _ = undisturbed(plan, None, with_crew_response(block, clean[0], 2), "rehearsal")

    def first(found: list[Event], kind: Kind, name: str) -> float:
        return next(float(str(e.data[name])) for e in found if e.kind is kind)

    per_turn = [float(str(e.data["loss_ft"])) for e in clean[0] if e.kind is Kind.SPIN_TURN and e.data["turns"] == 3.0]
    lost = first(clean[0], Kind.RECOVERED, "altitude_ft") - first(later, Kind.RECOVERED, "altitude_ft")
    assert lost == pytest.approx(2 * per_turn[0], rel=0.2)


def test_no_response_asked_for_changes_nothing(
    rehearsed: tuple[Plan, FrameBlock], clean: tuple[list[Event], Track]
) -> None:
    assert with_crew_response(rehearsed[1], clean[0], 0) is rehearsed[1]
    assert with_crew_response(rehearsed[1], [], 3) is rehearsed[1]


def test_a_call_about_the_data_is_due_to_the_fault_that_was_put_in() -> None:
    made = [
        call("caution", 10.0, "data lost", reason="data lost"),
        call("caution", 12.0, "flattening", reason="flattening"),
    ]
    disturbed = score([], made, NO_TRACK, disturbed=True)
    assert [line.tool_says for line in disturbed.lines] == ["for the fault", "not due"]
    assert disturbed.counts["tool"]["for the fault"] == 1
    assert [line.tool_says for line in score([], made, NO_TRACK).lines] == ["not due", "not due"]
