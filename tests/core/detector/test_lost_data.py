"""Losing data in a spin is not silence: motion carried on, ever less sure, floors called and marked estimated; both modes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.detector.flights import clean_block, flight, of_kind, plan_of
from tests.truth import catalogue
from tests.truth.flight import REQUIRED, Flight

from spinfloor.core import channels as ch
from spinfloor.core.channels import CHANNELS
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
FLIGHT = flight("developed", 0)
SPIN = FLIGHT.truth["spins"][0]
RATE_HZ = 50
TICK_NS = 100_000_000
KEPT = [i for i, channel in enumerate(CHANNELS) if channel.column in REQUIRED]


def only_five(whole: FrameBlock) -> FrameBlock:
    values = whole.values.copy()
    values[:, [c for c in range(ch.CHANNEL_COUNT) if c not in KEPT]] = np.nan
    return FrameBlock(whole.time_ns, values)


def block(five: bool) -> FrameBlock:
    whole = clean_block(FLIGHT, RATE_HZ)
    return only_five(whole) if five else whole


def with_floors(recovery_ft: float, abandon_ft: float) -> Detector:
    plan = plan_of(FLIGHT)
    floors = plan.floors.model_copy(update={"recovery_ft": recovery_ft, "abandon_ft": abandon_ft})
    return Detector(sortie="t", plan=plan.model_copy(update={"floors": floors}))


def number(value: object) -> float:
    return float(str(value))


def cut_at(after_s: float) -> int:
    return int((SPIN["start_s"] + after_s) * RATE_HZ)


def ticks(detector: Detector, last_ns: int, seconds: float) -> list[tuple[Event, ...]]:
    count = round(seconds * 1e9 / TICK_NS)
    return [tuple(detector.tick(last_ns + (i + 1) * TICK_NS)) for i in range(count)]


def true_height_ft(f: Flight, time_ns: int, origin_ns: int) -> float:
    return float(np.interp((time_ns - origin_ns) * 1e-9, f.time_s, f.columns["pressure_altitude_ft"]))


def carried(f: Flight, frames: FrameBlock, cut: int, ages_s: tuple[float, ...]) -> list[tuple[bool, bool]]:
    """For each age whether the truth lies in the stated interval of height, and of turns."""
    detector = Detector(sortie="t", plan=plan_of(f))
    detector.feed(frames.slice(0, cut))
    if detector.snapshot()["in_spin"] is not True:
        return []  # not known yet: there is nothing to carry on
    origin, last = int(frames.time_ns[0]), int(frames.time_ns[cut - 1])
    out = []
    for seconds in ages_s:
        detector.tick(last + int(seconds * 1e9))
        now = detector.snapshot()
        assert now["estimated"] is True
        at_s = (last - origin) * 1e-9 + seconds
        flown = np.interp([f.truth["spins"][0]["start_s"], at_s], f.time_s, f.turns_about_flight_path)
        missed_ft = number(now["altitude_ft"]) - true_height_ft(f, last + int(seconds * 1e9), origin)
        missed_turns = number(now["turns"]) - abs(flown[1] - flown[0])
        height = abs(missed_ft) < 1.96 * number(now["altitude_sd_ft"])
        out.append((height, abs(missed_turns) < 1.96 * number(now["turns_sd"])))
    return out


@BOTH
def test_a_settled_spin_is_carried_on_near_the_truth(five: bool) -> None:
    assert all(all(held) for held in carried(FLIGHT, block(five), cut_at(11.0), (1.0, 2.0, 4.0)))


@BOTH
def test_the_interval_of_carried_motion_holds(five: bool) -> None:
    """Cut off at 3 and at 6 s in the spin, wherever the motion was still whole 3 s later."""
    held = []
    for situation, seed in catalogue.entries():
        f = flight(situation, seed) if situation in ("developed", "flat", "power on", "ailerons with") else None
        if f is None:
            continue
        spin = f.truth["spins"][0]
        frames = clean_block(f, RATE_HZ)
        if five:
            frames = only_five(frames)
        for after_s in (3.0, 6.0):
            if spin["start_s"] + after_s + 3.0 < spin["recovery_controls_s"]:
                held += carried(f, frames, int((spin["start_s"] + after_s) * RATE_HZ), (1.0, 2.0, 3.0))
    assert len(held) > 60
    assert np.mean([height for height, _ in held]) >= 0.9
    assert np.mean([turns for _, turns in held]) >= 0.9


@BOTH
def test_nothing_gets_surer_while_nothing_comes(five: bool) -> None:
    frames = block(five)
    detector = with_floors(3000.0, 1500.0)
    cut = cut_at(4.0)
    detector.feed(frames.slice(0, cut))
    told = [detector.snapshot()]
    for i in range(30):
        detector.tick(int(frames.time_ns[cut - 1]) + (i + 1) * TICK_NS)
        told.append(detector.snapshot())
    for name in ("turns_sd", "altitude_sd_ft"):
        course = [number(s[name]) for s in told]
        assert np.all(np.diff(course) >= 0.0), name
        assert course[-1] > course[0]


@BOTH
def test_floor_calls_come_in_the_silence_and_say_estimated(five: bool) -> None:
    """The abandon floor is reached two seconds into the loss; a second later, with data, the call would be the same one."""
    frames = block(five)
    cut = cut_at(6.0)
    probe = with_floors(3000.0, 1500.0)
    probe.feed(frames.slice(0, cut))
    now = probe.snapshot()
    sink_fps = number(now["sink_fpm"]) / 60.0
    lead_s = 2.5 + 2.0  # the plan's lead, and two seconds of silence
    detector = with_floors(number(now["altitude_ft"]) - 200.0, number(now["altitude_ft"]) - sink_fps * lead_s - 150.0)
    detector.feed(frames.slice(0, cut))
    told = [e for some in ticks(detector, int(frames.time_ns[cut - 1]), 6.0) for e in some]
    calls = of_kind(told, Kind.CALL)
    assert [e.data["words"] for e in calls if e.data["call"] == "caution"] == ["data lost"]
    abandons = [e for e in calls if e.data["call"] == "abandon"]
    assert abandons
    assert all(e.data["estimated"] is True for e in calls)
    after_s = (abandons[0].time_ns - int(frames.time_ns[cut - 1])) * 1e-9
    assert 0.5 < after_s < 3.0
    crossed = of_kind(told, Kind.FLOOR_CROSSED)
    assert [e.data["floor"] for e in crossed][:1] == ["recovery"]
    assert all(e.data["estimated"] is True for e in crossed)


@BOTH
def test_planned_turns_are_called_by_the_carried_motion(five: bool) -> None:
    frames = block(five)
    plan = plan_of(FLIGHT)
    cut = cut_at(5.0)
    probe = Detector(sortie="t", plan=plan)
    probe.feed(frames.slice(0, cut))
    planned = number(probe.snapshot()["turns"]) + 2.0
    cards = [plan.cards[0].model_copy(update={"turns": round(planned, 2)})]
    detector = Detector(sortie="t", plan=plan.model_copy(update={"cards": cards}))
    assert not [e for e in of_kind(detector.feed(frames.slice(0, cut)), Kind.CALL) if e.data["call"] == "recover"]
    told = [e for some in ticks(detector, int(frames.time_ns[cut - 1]), 6.0) for e in some]
    recover = [e for e in of_kind(told, Kind.CALL) if e.data["call"] == "recover"]
    assert recover
    assert recover[0].data["reason_code"] == "planned turns complete within the lead"
    assert recover[0].data["estimated"] is True


WHOLE = block(False)
CUT, GAP_FRAMES = cut_at(5.0), 3 * RATE_HZ


def journal(parts: int) -> list[FrameBlock | int]:
    """Frames, three seconds of ticks, frames again: what the shell writes down, in pieces of `parts` frames."""
    out: list[FrameBlock | int] = [WHOLE.slice(i, min(i + parts, CUT)) for i in range(0, CUT, parts)]
    last = int(WHOLE.time_ns[CUT - 1])
    out += [last + (i + 1) * TICK_NS for i in range(28)]
    later = range(CUT + GAP_FRAMES, len(WHOLE), parts)
    return out + [WHOLE.slice(i, i + parts) for i in later]


def replayed(entries: list[FrameBlock | int], saves: set[int]) -> list[Event]:
    detector = with_floors(3000.0, 1500.0)
    events: list[Event] = []
    for i, entry in enumerate(entries):
        events += detector.tick(entry) if isinstance(entry, int) else detector.feed(entry)
        if i in saves:
            detector = Detector.restore(detector.save())
    return events


LIVE = replayed(journal(5), set())


@settings(max_examples=15, deadline=None)
@given(st.integers(1, 400), st.sets(st.integers(0, 400), max_size=5))
def test_a_replay_of_the_journal_gives_the_same_events(parts: int, saves: set[int]) -> None:
    """Ticks are inputs like frames; where it was cut, saved and restored makes no difference, in the silence neither."""
    assert replayed(journal(parts), saves) == LIVE
    assert [e.data["state"] for e in of_kind(LIVE, Kind.LINK)] == ["lost", "restored"]
    words = [e.data["words"] for e in of_kind(LIVE, Kind.CALL)]
    assert "data lost" in words
    assert "data back" in words


# Frames come, but without an altitude that can be believed.


@pytest.mark.parametrize("how", ["missing", "stuck"])
@BOTH
def test_an_altitude_that_fails_alone_is_carried_down_and_said(how: str, five: bool) -> None:
    frames = block(five)
    values = frames.values.copy()
    first = cut_at(5.0)
    values[first:, ch.PRESSURE_ALTITUDE] = np.nan if how == "missing" else values[first, ch.PRESSURE_ALTITUDE]
    detector = with_floors(3000.0, 1500.0)
    events = detector.feed(FrameBlock(frames.time_ns, values).slice(0, first + 6 * RATE_HZ))
    now = detector.snapshot()
    height = true_height_ft(FLIGHT, int(frames.time_ns[first + 6 * RATE_HZ - 1]), int(frames.time_ns[0]))
    assert number(now["altitude_ft"]) - height < 1.96 * number(now["altitude_sd_ft"])
    assert "data degraded" in {e.data["words"] for e in of_kind(events, Kind.CALL)}


def test_an_altimeter_that_reads_zero_makes_no_abandon() -> None:
    frames = block(False)
    values = frames.values.copy()
    first = cut_at(5.0)
    values[first:, ch.PRESSURE_ALTITUDE] = 0.0
    detector = with_floors(3000.0, 1500.0)
    events = detector.feed(FrameBlock(frames.time_ns, values).slice(0, first + 6 * RATE_HZ))
    assert "abandon" not in {e.data["call"] for e in of_kind(events, Kind.CALL)}


@BOTH
def test_turns_carried_over_a_loss_stay(five: bool) -> None:
    """Eight seconds of nothing in a spin that goes on: the count aloud does not fall back, and the end is near the truth."""
    frames, detector = block(five), Detector(sortie="t", plan=plan_of(FLIGHT))
    cut, back = cut_at(5.0), cut_at(13.0)
    detector.feed(frames.slice(0, cut))
    ticks(detector, int(frames.time_ns[cut - 1]), 7.9)
    before = number(detector.snapshot()["turns"])
    detector.feed(frames.slice(back, back + 10))
    assert number(detector.snapshot()["turns"]) > before - 0.1
    events = detector.feed(frames.slice(back + 10, len(frames)))
    (end,) = of_kind(events, Kind.SPIN_ENDED)
    truth = SPIN["turns"]["start_to_spinend"]["about_flight_path"]
    assert abs(number(end.data["turns"]) - truth) < 2.5 * number(end.data["turns_sd"])


@BOTH
def test_turns_about_the_vertical_are_carried_too(five: bool) -> None:
    frames, detector = block(five), Detector(sortie="t", plan=plan_of(FLIGHT))
    cut = cut_at(8.0)
    detector.feed(frames.slice(0, cut))
    before = detector.snapshot()
    ticks(detector, int(frames.time_ns[cut - 1]), 4.0)
    after = detector.snapshot()
    path = number(after["turns"]) - number(before["turns"])
    vertical = number(after["turns_about_vertical"]) - number(before["turns_about_vertical"])
    assert path > 1.0
    assert abs(vertical - path) < 0.3 * path


@pytest.mark.parametrize(
    ("from_s", "to_s", "lessons"), [(3.0, 3.0, 1), (-6.0, -3.0, 1), (-1.0, 1.0, 0), (0.8, 2.6, 0), (11.0, 12.3, 0)]
)
def test_a_recovery_with_a_hole_teaches_nothing(from_s: float, to_s: float, lessons: int) -> None:
    """Frames missing where the controls went in, where the rotation stopped or at the lowest point; elsewhere no matter."""
    frames, detector = block(False), Detector(sortie="t", plan=plan_of(FLIGHT))
    first, last = (int((SPIN["recovery_controls_s"] + x) * RATE_HZ) for x in (from_s, to_s))
    events = detector.feed(frames.slice(0, first)) + detector.feed(frames.slice(last, len(frames)))
    (level,) = of_kind(events, Kind.RECOVERED)
    assert level.data["data_lost"] is (lessons == 0)
    assert int(detector.records.beliefs["revision"][0]) == lessons


@pytest.mark.parametrize("seconds", [4.0, 8.0])
def test_an_altitude_lost_before_the_sink_has_built_up_is_carried_down_as_in_a_spin(seconds: float) -> None:
    """A second into the spin it sinks at a tenth of what it will: what the plan expects of a spin is to come."""
    frames = block(False)
    values = frames.values.copy()
    first = cut_at(1.0)
    values[first:, ch.PRESSURE_ALTITUDE] = np.nan
    until = first + int(seconds * RATE_HZ)
    detector = with_floors(3000.0, 1500.0)
    detector.feed(FrameBlock(frames.time_ns, values).slice(0, until))
    now = detector.snapshot()
    height = true_height_ft(FLIGHT, int(frames.time_ns[until - 1]), int(frames.time_ns[0]))
    assert abs(number(now["altitude_ft"]) - height) < 1.96 * number(now["altitude_sd_ft"])
    assert number(now["sink_fpm"]) > 3000.0
