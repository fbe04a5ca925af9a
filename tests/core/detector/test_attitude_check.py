"""Attitude telemetry that lies: noticed against the gyros, done without, and taken up again when it is sound."""

from __future__ import annotations

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, flags, flight, of_kind, plan_of

from spinfloor.core import channels as ch
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

FLIGHT = flight("flattening", 0)
SPIN = FLIGHT.truth["spins"][0]
INCONSISTENT = ("roll_deg", "inconsistent")


def _events(block: FrameBlock) -> list[Event]:
    return Detector(sortie="t", plan=plan_of(FLIGHT)).feed(block)


def _held(block: FrameBlock, channel: int, first_s: float, seconds: float) -> FrameBlock:
    """The block with one channel frozen for a while."""
    t = (block.time_ns - block.time_ns[0]) * 1e-9
    values = block.values.copy()
    hold = (t >= first_s) & (t < first_s + seconds)
    values[hold, channel] = values[int(np.argmax(hold)), channel]
    return FrameBlock(block.time_ns, values)


@pytest.mark.parametrize(
    ("channel", "after_s"),
    [(ch.ROLL, -0.5), (ch.ROLL, 0.5), (ch.PITCH, 0.5), (ch.ROLL, 4.0), (ch.PITCH, 4.0)],
    ids=["bank before the start", "bank in the entry", "pitch in the entry", "bank in the spin", "pitch in the spin"],
)
def test_attitude_that_sticks_costs_no_spin_and_no_turn(channel: int, after_s: float) -> None:
    events = _events(_held(clean_block(FLIGHT, 100.0), channel, SPIN["start_s"] + after_s, 2.5))
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    turns = SPIN["turns"]["start_to_spinend"]["about_flight_path"]
    assert abs(float(str(ended.data["turns"])) - turns) < 0.15
    vertical = SPIN["turns"]["start_to_spinend"]["about_vertical"]
    assert abs(float(str(ended.data["turns_about_vertical"])) - vertical) < 0.25


def test_it_is_flagged_and_the_flag_goes_off_again() -> None:
    events = _events(_held(clean_block(FLIGHT, 100.0), ch.ROLL, SPIN["start_s"] + 3.0, 2.0))
    told = [e for e in of_kind(events, Kind.QUALITY) if (e.data["channel"], e.data["flag"]) == INCONSISTENT]
    assert [e.data["state"] for e in told] == ["on", "off"]
    started = (told[0].time_ns - clean_block(FLIGHT, 100.0).time_ns[0]) * 1e-9
    assert SPIN["start_s"] + 3.0 < started < SPIN["start_s"] + 4.0


def test_sound_attitude_is_believed_through_a_clipped_gyro() -> None:
    """The gyros are the worse witness then: no flag on the attitude."""
    block = clean_block(FLIGHT, 100.0)
    values = block.values.copy()
    rail = np.radians(100.0)
    values[:, ch.YAW_RATE] = np.clip(values[:, ch.YAW_RATE], -rail, rail)
    plan = plan_of(FLIGHT, sensor_ranges={"yaw_rate_dps": 100.0})
    events = Detector(sortie="t", plan=plan).feed(FrameBlock(block.time_ns, values))
    assert ("yaw_rate_dps", "clipped") in flags(events)
    assert INCONSISTENT not in flags(events)


def test_a_vane_at_its_stop_in_a_flat_spin_keeps_the_turns() -> None:
    """Alpha is far past the stop: the rates say how far, and the stated interval holds."""
    f = flight("flat", 2)
    block = clean_block(f, 100.0)
    values = block.values.copy()
    values[:, ch.ALPHA] = np.clip(values[:, ch.ALPHA], np.radians(-8.0), np.radians(32.0))
    events = Detector(sortie="t", plan=plan_of(f)).feed(FrameBlock(block.time_ns, values))
    assert ("alpha_deg", "clipped") in flags(events)
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    error = float(str(ended.data["turns"])) - f.truth["spins"][0]["turns"]["start_to_spinend"]["about_flight_path"]
    assert abs(error) < 0.2
    assert abs(error) < 1.96 * float(str(ended.data["turns_sd"]))
