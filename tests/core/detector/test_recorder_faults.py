"""What a recorder does that is no fault raises no flag; each fault raises its own and does what the quality page says."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.core.detector.flights import clean_block, events_of, flags, flight, of_kind, plan_of
from tests.truth.degrade import DEGRADATIONS

from spinfloor.core import channels as ch
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

MODES = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
FLIGHTS = (("developed", 8), ("flat", 2))
FLIGHT = flight("developed", 8)
SPIN = FLIGHT.truth["spins"][0]
TURNS = float(SPIN["turns"]["start_to_spinend"]["about_flight_path"])
RATE_HZ = 100
# What every recorder does: nothing to flag, and the agreed numbers hold.
TOLERATED = ("10 Hz", "25 Hz", "50 Hz", "none, 100 Hz", "200 Hz", "noise", "bias", "jitter", "pitot-static")
# What has a flag. A jump of the clock and a gap of data look the same at first, and are both said.
FLAGGED = {
    "clipped yaw gyro": "clipped",
    "zero bursts": "zero filled",
    "wild points": "wild",
    "gaps to 2 s": "gap",
    "duplicates": "duplicate",
    "out of order": "out of order",
    "clock jump": "clock jump",
}
FIVE = (ch.ROLL_RATE, ch.PITCH_RATE, ch.YAW_RATE, ch.PRESSURE_ALTITUDE)


def number(value: object) -> float:
    return float(str(value))


def only_end(events: list[Event]) -> Event:
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    return ended


@MODES
@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
@pytest.mark.parametrize("fault", TOLERATED)
def test_what_every_recorder_does_raises_no_flag(fault: str, situation: str, seed: int, five: bool) -> None:
    f = flight(situation, seed)
    events = events_of(f, fault, five=five)
    assert flags(events) == set()
    true = f.truth["spins"][0]["turns"]["start_to_spinend"]["about_flight_path"]
    ended = only_end(events)
    assert abs(number(ended.data["turns"]) - true) <= (0.35 if five else 0.10)
    assert ended.data["turns_lower_bound"] is False


@MODES
@pytest.mark.parametrize("fault", ["quantised", "lag", "missing values", "noise, 10 Hz", "noise x4, 50 Hz"])
def test_coarse_late_and_noisy_values_keep_the_turns(fault: str, five: bool) -> None:
    ended = only_end(events_of(FLIGHT, fault, five=five))
    assert abs(number(ended.data["turns"]) - TURNS) <= (0.35 if five else 0.10)


def test_a_coarse_encoder_is_no_clipped_gyro() -> None:
    """The plan states 400 deg/s, the spin turns at a quarter of it."""
    events = events_of(FLIGHT, "quantised", five=True)
    assert not [f for f in flags(events) if f[1] == "clipped"]


@MODES
@pytest.mark.parametrize("fault", FLAGGED)
def test_a_fault_raises_its_flag_and_the_turns_hold(fault: str, five: bool) -> None:
    events = events_of(FLIGHT, fault, five=five)
    assert FLAGGED[fault] in {flag for _, flag in flags(events)}
    ended = only_end(events)
    error = number(ended.data["turns"]) - TURNS
    if fault == "clipped yaw gyro" and five:
        assert ended.data["turns_lower_bound"] is True
        assert error < 0.1
    else:
        assert ended.data["turns_lower_bound"] is False
        assert abs(error) <= (0.35 if five else 0.10)


def test_every_degradation_is_looked_at_here_or_in_a_mixture() -> None:
    elsewhere = {"quantised", "lag", "missing values", "noise, 10 Hz", "noise x4, 50 Hz"}
    mixtures = {"stuck channel", "clock steps", "pegged vanes", "dirty recorder, 25 Hz", "dirty recorder, 100 Hz"}
    assert set(DEGRADATIONS) == set(TOLERATED) | set(FLAGGED) | elsewhere | mixtures


# One channel at a time, in the middle of the spin, so that the flag can be told to the channel.

Change = Callable[[NDArray[np.float64]], None]


def damaged(channel: int, after_s: float, seconds: float, value: float | None, five: bool) -> FrameBlock:
    """The clean flight with one channel held (value None), or set to a value, for a while in the spin."""
    whole = clean_block(FLIGHT, RATE_HZ)
    values = whole.values.copy()
    if five:
        values[:, [c for c in range(ch.CHANNEL_COUNT) if c not in FIVE]] = np.nan
    t = (whole.time_ns - whole.time_ns[0]) * 1e-9
    hold = (t >= SPIN["start_s"] + after_s) & (t < SPIN["start_s"] + after_s + seconds)
    values[hold, channel] = values[int(np.argmax(hold)), channel] if value is None else value
    return FrameBlock(whole.time_ns, values)


def told(block: FrameBlock) -> list[Event]:
    return Detector(sortie="t", plan=plan_of(FLIGHT)).feed(block)


@pytest.mark.parametrize(
    ("channel", "name", "five"),
    [
        (ch.ROLL, "roll_deg", False),
        (ch.PITCH, "pitch_deg", False),
        (ch.ALPHA, "alpha_deg", False),
        (ch.BETA, "beta_deg", False),
        (ch.PITCH_RATE, "pitch_rate_dps", False),
        (ch.PRESSURE_ALTITUDE, "pressure_altitude_ft", False),
        (ch.PITCH_RATE, "pitch_rate_dps", True),
        (ch.PRESSURE_ALTITUDE, "pressure_altitude_ft", True),
    ],
)
def test_a_stuck_channel_is_flagged_and_costs_no_turn(channel: int, name: str, five: bool) -> None:
    events = told(damaged(channel, 3.0, 3.5, None, five))
    on = [e for e in of_kind(events, Kind.QUALITY) if e.data["channel"] == name and e.data["state"] == "on"]
    seen = {str(e.data["flag"]) for e in on}
    assert seen & {"stuck", "clipped", "inconsistent"}, seen  # a bank that sticks parts from the gyros before it is old
    assert abs(number(only_end(events).data["turns"]) - TURNS) <= (0.35 if five else 0.15)


def test_a_stuck_yaw_gyro_is_flagged_and_attitude_keeps_the_turns() -> None:
    """Held within a turn the yaw rate is not far off; what matters is that it is said."""
    events = told(damaged(ch.YAW_RATE, 3.0, 3.5, None, False))
    assert {f for c, f in flags(events) if c == "yaw_rate_dps"} & {"stuck", "clipped"}
    assert abs(number(only_end(events).data["turns"]) - TURNS) <= 0.15


@MODES
@pytest.mark.parametrize(
    ("channel", "name", "wild"),
    [
        (ch.YAW_RATE, "yaw_rate_dps", np.radians(5000.0)),
        (ch.ROLL_RATE, "roll_rate_dps", np.radians(-700.0)),
        (ch.PRESSURE_ALTITUDE, "pressure_altitude_ft", -10_000.0),
    ],
)
def test_a_wild_point_is_refused_whole(channel: int, name: str, wild: float, five: bool) -> None:
    """Taken in, one frame of 5,000 deg/s would be a seventh of a turn."""
    clean = only_end(told(damaged(channel, 3.0, 0.0, 0.0, five)))
    events = told(damaged(channel, 3.0, 0.005, wild, five))
    assert (name, "wild") in flags(events)
    ended = only_end(events)
    assert number(ended.data["turns"]) == pytest.approx(number(clean.data["turns"]), abs=0.01)
    assert number(ended.data["altitude_ft"]) == pytest.approx(number(clean.data["altitude_ft"]), abs=5.0)


@MODES
def test_a_rate_that_is_missing_for_a_while_is_flagged_and_held(five: bool) -> None:
    events = told(damaged(ch.YAW_RATE, 3.0, 0.6, float("nan"), five))
    assert flags(events) == {("yaw_rate_dps", "missing")}
    assert abs(number(only_end(events).data["turns"]) - TURNS) <= (0.35 if five else 0.10)


@MODES
def test_zeros_are_no_stop(five: bool) -> None:
    """All rates zero for 0.4 s, as a decoder writes that lost its frame; a rotation that stopped would end the spin."""
    whole = damaged(ch.YAW_RATE, 3.0, 0.4, 0.0, five)
    values = whole.values.copy()
    zeroed = values[:, ch.YAW_RATE] == 0.0
    values[zeroed] = 0.0
    events = told(FrameBlock(whole.time_ns, values))
    assert ("yaw_rate_dps", "zero filled") in flags(events)
    assert abs(number(only_end(events).data["turns"]) - TURNS) <= (0.35 if five else 0.10)


@MODES
def test_a_clock_set_ahead_in_the_spin_makes_the_turns_a_lower_bound(five: bool) -> None:
    """Half a minute ahead and running on: what was turned meanwhile, if anything, nobody knows."""
    block = damaged(ch.YAW_RATE, 3.0, 0.0, 0.0, five)
    times = block.time_ns.copy()
    times[times - times[0] > int((SPIN["start_s"] + 4.0) * 1e9)] += 30_000_000_000
    events = told(FrameBlock(times, block.values))
    assert ("time_ns", "clock jump") in flags(events)
    ended = only_end(events)
    assert ended.data["turns_lower_bound"] is True
    assert abs(number(ended.data["turns"]) - TURNS) <= (0.35 if five else 0.15)


def test_flags_are_events_with_an_end() -> None:
    """Off a second after the last frame that earned it, dated to that frame."""
    events = told(damaged(ch.ALPHA, 3.0, 0.6, float("nan"), False))
    on, off = of_kind(events, Kind.QUALITY)
    assert (on.data["state"], off.data["state"]) == ("on", "off")
    at_s = [(t - clean_block(FLIGHT, RATE_HZ).time_ns[0]) * 1e-9 - SPIN["start_s"] for t in (on.time_ns, off.time_ns)]
    assert at_s == pytest.approx([3.2, 3.59], abs=0.03)
    assert (off.detected_ns - off.time_ns) * 1e-9 == pytest.approx(1.0, abs=0.15)


# Control telemetry is no motion, but the recovery begins with it.


@pytest.mark.parametrize(
    ("fault", "value", "seconds"), [("a wild pedal", -9.0, 0.005), ("zeros", 0.0, 0.1)], ids=["wild", "zeros"]
)
def test_a_bad_control_value_is_no_recovery(fault: str, value: float, seconds: float) -> None:
    """It silenced `recover` for the rest of the spin."""
    whole = damaged(ch.PEDAL_RIGHT, 3.0, 0.0, 0.0, False)
    values = whole.values.copy()
    t = (whole.time_ns - whole.time_ns[0]) * 1e-9 - SPIN["start_s"] - 3.0
    bad = (t >= 0.0) & (t < seconds)
    if fault == "zeros":
        values[bad] = 0.0
    else:
        values[bad, ch.PEDAL_RIGHT] = value * np.sign(values[bad, ch.PEDAL_RIGHT])
    (started,) = of_kind(told(FrameBlock(whole.time_ns, values)), Kind.RECOVERY_STARTED)
    at_s = (started.time_ns - whole.time_ns[0]) * 1e-9
    assert at_s == pytest.approx(float(SPIN["recovery_controls_s"]), abs=0.2)
