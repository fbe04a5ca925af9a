"""Each recorder fault: its flag goes on, and the spin is still found, named and counted within limits."""

import pytest
from tests.core.detector.flights import clean_block, events_of, flags, flight, of_kind, plan_of

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
