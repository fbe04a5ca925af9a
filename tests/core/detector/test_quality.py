"""Each recorder fault: its flag goes on, and the spin is still found, named and counted within limits."""

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, events_of, flags, flight, of_kind, plan_of

from spinfloor.core import channels as ch
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Kind
from spinfloor.core.frames import FrameBlock

FLIGHT = flight("developed", 3)
FAULTS = (
    ("clipped yaw gyro", "clipped"),
    ("zero bursts", "zero filled"),
    ("wild points", "wild"),
    ("gaps to 2 s", "gap"),
    ("duplicates", "duplicate"),
    ("out of order", "out of order"),
    ("clock steps", "out of order"),
)


@pytest.mark.parametrize(("fault", "flag"), FAULTS)
def test_fault_is_flagged_and_survived(fault: str, flag: str) -> None:
    events = events_of(FLIGHT, fault)
    assert flag in {f for _, f in flags(events)}
    ended = of_kind(events, Kind.SPIN_ENDED)
    assert len(ended) == len(FLIGHT.truth["spins"])
    for e, true in zip(ended, FLIGHT.truth["spins"], strict=True):
        turns = true["turns"]["start_to_spinend"]["about_flight_path"]
        assert abs(float(str(e.data["turns"])) - turns) < 0.15


def in_batches(block: FrameBlock, frames: int) -> list[FrameBlock]:
    return [block.slice(i, i + frames) for i in range(0, len(block), frames)]


@pytest.mark.parametrize("frames", [3, 40, 120, 200])
def test_what_comes_twice_or_overlaps_counts_once(frames: int) -> None:
    """A second source with the same frames, and batches that begin with the last half of the one before."""
    block = clean_block(FLIGHT)
    ended = of_kind(Detector(sortie="t", plan=plan_of(FLIGHT)).feed(block), Kind.SPIN_ENDED)
    pieces = in_batches(block, frames)
    twice = [piece for piece in pieces for _ in range(2)]
    overlapping = [block.slice(max(i - frames // 2, 0), i + frames) for i in range(0, len(block), frames)]
    for sent in (twice, overlapping):
        detector = Detector(sortie="t", plan=plan_of(FLIGHT))
        events = [event for piece in sent for event in detector.feed(piece)]
        assert [(e.time_ns, e.data) for e in of_kind(events, Kind.SPIN_ENDED)] == [(e.time_ns, e.data) for e in ended]
        assert {flag for _, flag in flags(events)} <= {"duplicate"}


def moved(block: FrameBlock, seconds: float) -> FrameBlock:
    return FrameBlock(block.time_ns + int(seconds * 1e9), block.values)


def gone(block: FrameBlock, share: float) -> FrameBlock:
    """Without that share of its frames."""
    there = np.random.default_rng(7).random(len(block)) >= share
    return FrameBlock(block.time_ns[there], block.values[there])


def twice(block: FrameBlock, late_s: float) -> list[FrameBlock]:
    """Half-second batches of one gateway, between them those of a second one that is late."""
    pieces = in_batches(block, 25)
    late = int(late_s / 0.5)
    either = [(i, 0, piece) for i, piece in enumerate(pieces)] + [
        (i + late, 1, piece) for i, piece in enumerate(pieces)
    ]
    return [piece for _, _, piece in sorted(either, key=lambda sent: sent[:2])]


@pytest.mark.parametrize("late_s", [8, 20, 600])
def test_a_second_gateway_seconds_or_minutes_late_changes_nothing(late_s: float) -> None:
    block = clean_block(FLIGHT)
    once = Detector(sortie="t", plan=plan_of(FLIGHT)).feed(block)
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    events = [event for piece in twice(block, late_s) for event in detector.feed(piece)]
    said = [(e.kind, e.time_ns, e.data) for e in events if e.kind is not Kind.QUALITY]
    assert said == [(e.kind, e.time_ns, e.data) for e in once if e.kind is not Kind.QUALITY]
    assert {flag for _, flag in flags(events)} == {"duplicate"}


@pytest.mark.parametrize("share", [0.0, 0.05, 0.3])
@pytest.mark.parametrize("from_frame", [0, 367, 900])
def test_a_flight_sent_again_from_anywhere_and_with_losses_counts_once(share: float, from_frame: int) -> None:
    block = clean_block(FLIGHT)
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    detector.feed(block)
    again = detector.feed(gone(block.slice(from_frame, len(block)), share))
    assert {e.kind for e in again} <= {Kind.QUALITY}
    assert "clock jump" not in {flag for _, flag in flags(again)}


def test_the_last_hour_of_three_is_known_again() -> None:
    """And what follows it is flown: forty seconds each, one spin each."""
    block = clean_block(FLIGHT)
    length_s = len(block) * 0.02
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    flights = [moved(block, length_s * n) for n in range(int(3 * 3600 / length_s))]
    for each in flights:
        detector.feed(each)
    last = FrameBlock.joined(flights[-int(3600 / length_s) :])
    again = detector.feed(last.slice(900, len(last)))  # from within a spin on
    assert {e.kind for e in again} <= {Kind.QUALITY}
    assert len(of_kind(detector.feed(moved(block, length_s * len(flights))), Kind.SPIN_ENDED)) == 1


@pytest.mark.parametrize("flights_before", [0, 150])
@pytest.mark.parametrize("back_s", [3.0, 10.0, 30.0])
def test_a_clock_set_back_in_a_spin_loses_five_frames(back_s: float, flights_before: int) -> None:
    """Also where it was a whole number of frames, and after hours: at that time the aircraft was elsewhere."""
    block = clean_block(FLIGHT)
    cut = int((FLIGHT.truth["spins"][0]["start_s"] + 4.0) * 50)
    once = Detector(sortie="t", plan=plan_of(FLIGHT)).feed(block)
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    for n in range(flights_before):
        detector.feed(moved(block, len(block) * 0.02 * (n - flights_before)))
    detector.feed(block.slice(0, cut))
    after = detector.feed(moved(block.slice(cut, len(block)), -back_s))
    assert "clock jump" in {flag for _, flag in flags(after)}
    (ended,), (true,) = of_kind(after, Kind.SPIN_ENDED), of_kind(once, Kind.SPIN_ENDED)
    assert float(str(ended.data["turns"])) == pytest.approx(float(str(true.data["turns"])), abs=0.1)


def test_a_clock_set_back_in_level_flight_is_known_within_a_second() -> None:
    """There its frames could be those of before; it takes some stretches to tell."""
    block = clean_block(FLIGHT)
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    detector.feed(block.slice(0, 200))
    back = moved(block.slice(200, 250), -3.0)
    detector.feed(back)
    assert detector.snapshot()["time_ns"] == int(back.time_ns[-1])


def test_a_batch_that_was_overtaken_is_left_out_and_time_goes_on() -> None:
    block = clean_block(FLIGHT)
    pieces = in_batches(block, 40)
    swapped = [piece for pair in zip(pieces[1::2], pieces[0::2], strict=False) for piece in pair]
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    events = [event for piece in swapped for event in detector.feed(piece)]
    assert "clock jump" not in {flag for _, flag in flags(events)}
    for ended, true in zip(of_kind(events, Kind.SPIN_ENDED), FLIGHT.truth["spins"], strict=True):
        assert abs(float(str(ended.data["turns"])) - true["turns"]["start_to_spinend"]["about_flight_path"]) < 1.0


def test_a_clean_flight_has_no_flag() -> None:
    assert flags(events_of(FLIGHT, "none, 100 Hz")) == set()


def test_clipped_gyro_without_attitude_is_a_lower_bound() -> None:
    (ended,) = of_kind(events_of(FLIGHT, "clipped yaw gyro", five=True), Kind.SPIN_ENDED)
    assert ended.data["turns_lower_bound"] is True
    (sound,) = of_kind(events_of(FLIGHT, "clipped yaw gyro"), Kind.SPIN_ENDED)
    assert sound.data["turns_lower_bound"] is False


def test_lost_data_in_a_spin_is_said_and_carried_forward() -> None:
    block = clean_block(FLIGHT)
    detector = Detector(sortie="t", plan=plan_of(FLIGHT))
    start = FLIGHT.truth["spins"][0]["start_s"]
    cut = int((start + 4.0) * 50)
    detector.feed(block.slice(0, cut))
    last = int(block.time_ns[cut - 1])
    before = detector.snapshot()
    events = [e for i in range(1, 21) for e in detector.tick(last + i * 100_000_000)]
    (lost,) = of_kind(events, Kind.LINK)
    assert lost.data["state"] == "lost"
    assert "data lost" in {e.data["words"] for e in of_kind(events, Kind.CALL)}
    after = detector.snapshot()
    assert after["estimated"] is True
    assert after["link"] == "lost"
    assert float(str(after["turns"])) > float(str(before["turns"])) + 0.3
    assert float(str(after["altitude_ft"])) < float(str(before["altitude_ft"])) - 50.0
    assert float(str(after["turns_sd"])) > float(str(before["turns_sd"]))
    assert float(str(after["altitude_sd_ft"])) > float(str(before["altitude_sd_ft"]))
    back = detector.feed(block.slice(cut + 100, cut + 110))
    assert of_kind(back, Kind.LINK)[0].data["state"] == "restored"
    assert detector.snapshot()["estimated"] is False


@pytest.mark.parametrize("channel", [0, 1, 2, 3])
def test_a_required_channel_that_never_comes_is_missing(channel: int) -> None:
    """It was not flagged, as it had never been there; without altitude the uncertainty of none was 13 ft."""
    f = flight("developed", 8)
    block = clean_block(f)
    values = block.values.copy()
    values[:, channel] = np.nan
    detector = Detector(sortie="t", plan=plan_of(f))
    events = detector.feed(FrameBlock(block.time_ns, values))
    column = ch.CHANNELS[channel].column
    assert flags(events) == {(column, "missing")}
    assert detector.snapshot()["quality"] == [{"channel": column, "flag": "missing"}]
    if channel == ch.PRESSURE_ALTITUDE:
        assert "data degraded" in [e.data["reason_code"] for e in of_kind(events, Kind.CALL)]
        heights = {"altitude_ft", "altitude_sd_ft", "loss_ft", "sink_fpm", "altitude_left_ft"}
        assert not [(e.kind, k) for e in events for k in heights & e.data.keys() if e.data[k] is not None]
        assert not of_kind(events, Kind.RECOVERED)
        assert not of_kind(events, Kind.FLOOR_CROSSED)
