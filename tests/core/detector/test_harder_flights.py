"""Situations with a story: re-entry, flattening, tumbling, a clock set back, and units that are only a matter of names."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.core.detector.flights import block_of, clean_block, flags, flight, of_kind, plan_of
from tests.truth.degrade import degraded
from tests.truth.kinematic import build as prescribed

from spinfloor.adapters.recordings import read_recording
from spinfloor.core.channels import CHANNELS, REQUIRED_COLUMNS
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

CLEAN = "none, 100 Hz"


def _events(block: FrameBlock, situation: str, seed: int) -> list[Event]:
    return Detector(sortie="t", plan=plan_of(flight(situation, seed))).feed(block)


def test_a_spin_started_again_is_told_as_one() -> None:
    f = flight("again", 0)
    started = of_kind(_events(block_of(degraded(f, CLEAN)), "again", 0), Kind.SPIN_STARTED)
    assert [e.data["restarted"] for e in started] == [False, True]
    assert len({e.data["direction"] for e in started}) == 1


@pytest.mark.parametrize(("situation", "seed"), [("falling leaf", 7005), ("inverted snap", 7001)])
def test_yawing_on_a_level_path_is_no_spin(situation: str, seed: int) -> None:
    """A leaf that yaws about the vertical with its path hardly turned about; a snap pitched out of."""
    events = _events(block_of(degraded(flight(situation, seed), CLEAN)), situation, seed)
    assert not of_kind(events, Kind.SPIN_STARTED)


def test_a_spin_with_steady_pitching_and_sideslip_is_a_spin() -> None:
    f = flight("not recovered", 9007)
    (started,) = of_kind(_events(block_of(degraded(f, CLEAN)), "not recovered", 9007), Kind.SPIN_STARTED)
    assert started.data["direction"] == "left"


@pytest.mark.parametrize(("situation", "seed"), [("against the pedal", 6), ("flat", 1013), ("flattening", 1011)])
def test_by_rates_alone_the_pedal_kick_is_not_the_start(situation: str, seed: int) -> None:
    """The kick yaws up to two seconds before the wing lets go."""
    f = flight(situation, seed)
    record = degraded(f, CLEAN, five=True)
    events = _events(block_of(record), situation, seed)
    told = (of_kind(events, Kind.SPIN_STARTED)[0].time_ns - int(record.time_ns[0])) * 1e-9 + float(f.time_s[0])
    assert abs(told - f.truth["spins"][0]["start_s"]) < 0.5


def test_a_spin_that_flattens_turn_on_turn_is_a_caution() -> None:
    f = flight("flattening", 0)
    events = _events(block_of(degraded(f, CLEAN)), "flattening", 0)
    reasons = [str(e.data["reason"]) for e in of_kind(events, Kind.CALL) if e.data["call"] == "caution"]
    assert any("alpha" in r or "flat" in r for r in reasons), reasons


@pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
@pytest.mark.parametrize("way", [1.0, -1.0], ids=["nose up", "nose over"])
def test_end_over_end_is_a_tumble_and_no_spin(way: float, five: bool) -> None:
    """Pure pitching at 180 deg/s for eight seconds, alpha going round with it, falling at 60 m/s."""
    rate, n = 100.0, 2000
    t = np.arange(n) / rate
    tumbling = (t > 6.0) & (t < 14.0)
    pitch_rate = np.where(tumbling, way * 180.0, 0.0)
    angle = np.cumsum(pitch_rate) / rate
    columns = {
        "time_ns": (t * 1e9).astype(np.int64) + 1_700_000_000_000_000_000,
        "roll_rate_dps": 2.0 * np.sin(3.0 * t) * tumbling,
        "pitch_rate_dps": pitch_rate,
        "yaw_rate_dps": 2.0 * np.cos(2.0 * t) * tumbling,
        "pressure_altitude_ft": 20_000.0 - np.clip(t - 6.0, 0.0, 8.0) * 200.0,
        "alpha_deg": np.where(tumbling, np.mod(angle + 185.0, 360.0) - 180.0, 5.0),
        "beta_deg": 0.0 * t,
    }
    if five:
        del columns["alpha_deg"], columns["beta_deg"]
    events = Detector(sortie="t", plan=plan_of(flight("developed", 0))).feed(FrameBlock.from_columns(columns))
    assert not of_kind(events, Kind.SPIN_STARTED)
    assert "tumble" in [e.data["to"] for e in of_kind(events, Kind.PHASE)]


@pytest.mark.parametrize("inside", [False, True], ids=["before the spin", "in the spin"])
def test_a_clock_set_back_is_flagged_and_the_turns_go_on(inside: bool) -> None:
    f = flight("developed", 0)
    block = clean_block(f, 100.0)
    true = f.truth["spins"][0]
    at = true["start_s"] + (5.0 if inside else -2.0)
    first = int(np.searchsorted(block.time_ns, block.time_ns[0] + int(at * 1e9)))
    times = block.time_ns.copy()
    times[first:] -= 30_000_000_000
    events = _events(FrameBlock(times, block.values), "developed", 0)
    assert ("time_ns", "clock jump") in flags(events)
    ended = of_kind(events, Kind.SPIN_ENDED)
    assert len(ended) == 1
    turns = true["turns"]["start_to_spinend"]["about_flight_path"]
    assert abs(float(str(ended[0].data["turns"])) - turns) < 0.15
    assert ended[0].data["turns_lower_bound"] is inside


@settings(max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    powers=st.lists(st.integers(-8, 8), min_size=5, max_size=5),
    signs=st.lists(st.sampled_from([1, -1]), min_size=5, max_size=5),
)
def test_units_and_signs_of_the_source_change_no_event(powers: list[int], signs: list[int], tmp_path: Path) -> None:
    """Powers of two change no bit of a mantissa, so the events must be the same to the last digit."""
    f = flight("half turn", 11)
    record = degraded(f, CLEAN, five=True)
    names = [n for n in REQUIRED_COLUMNS if n in record.columns]
    columns: dict[str, npt.ArrayLike] = {"clock": record.time_ns}
    mapped = {}
    for name, power, sign in zip(names, powers, signs, strict=False):
        columns[f"raw {name}"] = sign * record.columns[name] * 2.0**-power
        unit = next(c.unit for c in CHANNELS if c.column == name)
        mapped[name] = {"source": f"raw {name}", "unit": unit, "scale": 2.0**power, "sign": sign}
    path = tmp_path / "own-units.parquet"
    pd.DataFrame(columns).to_parquet(path)
    block = read_recording(path, {"time": {"source": "clock", "unit": "ns"}, "columns": mapped}).block
    plain = _events(block_of(record), "half turn", 11)
    assert [e.as_record() for e in _events(block, "half turn", 11)] == [e.as_record() for e in plain]
    assert of_kind(plain, Kind.SPIN_STARTED)


def test_rotation_that_rises_after_the_controls_ends_no_worse() -> None:
    """Common practice, no source: rotation may rise for up to a turn after anti-spin controls."""
    f = prescribed("rotation rises", 0)
    events = _events(block_of(degraded(f, CLEAN)), "developed", 0)
    ended = of_kind(events, Kind.SPIN_ENDED)
    assert len(ended) == 1
    turns = f.truth["spins"][0]["turns"]["start_to_spinend"]["about_flight_path"]
    assert abs(float(str(ended[0].data["turns"])) - turns) <= 0.10
