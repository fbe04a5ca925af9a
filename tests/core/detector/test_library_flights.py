"""Flights of a general flight-dynamics library's own aircraft: what its equations of motion say, not ours.

Each flight is first seen to be what its name says, by the library's own state.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from tests.core.detector.flights import events_of, of_kind
from tests.truth import library
from tests.truth.flight import Flight
from tests.truth.keep import kept

from spinfloor.core.events import Kind
from spinfloor.core.physics.attitude import carry_vector, down_from_euler
from spinfloor.core.physics.rotation import about_vertical

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
ROUND = [("loop", 1), ("loop", 4), ("loop", 7), ("steep turn", 0), ("steep turn", 3), ("steep turn", 6), ("spiral", 0),
         ("spiral", 12), ("aileron rolls", 0), ("aileron rolls", 2), ("barrel roll", 1), ("rolling dive", 0)]  # fmt: skip
RATES = ("roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps")


@cache
def flown(situation: str, seed: int) -> Flight:
    return kept("jsbsim", situation, seed, library.build)


def rates(f: Flight) -> np.ndarray:
    return np.radians(np.stack([f.columns[name] for name in RATES], axis=1))


def round_once(f: Flight) -> float:
    """Turns about the axis the manoeuvre is about: pitch of a loop, roll of a roll, the vertical of a turn."""
    if f.situation in ("steep turn", "spiral"):
        return float(np.ptp(f.turns_about_vertical))
    axis = 1 if f.situation == "loop" else 0
    return abs(float(np.sum(rates(f)[:, axis]))) * float(np.median(np.diff(f.time_s))) / (2 * np.pi)


@BOTH
@pytest.mark.parametrize(("situation", "seed"), ROUND)
def test_once_round_is_no_spin(situation: str, seed: int, five: bool) -> None:
    f = flown(situation, seed)
    assert round_once(f) > 0.9
    assert not f.truth["spins"]
    assert not of_kind(events_of(f, "none, 100 Hz", five=five), Kind.SPIN_STARTED)


@BOTH
@pytest.mark.parametrize("seed", [0, 4, 6, 8])
def test_the_model_that_autorotates_spins_and_is_told(seed: int, five: bool) -> None:
    f = flown("spin", seed)
    (true,) = f.truth["spins"]
    (started,) = of_kind(events_of(f, "none, 100 Hz", five=five), Kind.SPIN_STARTED)
    (ended,) = of_kind(events_of(f, "none, 100 Hz", five=five), Kind.SPIN_ENDED)
    for key in ("orientation", "direction", "sense_from_above"):
        assert started.data[key] == true[key]
    missed = float(str(ended.data["turns"])) - true["turns"]["start_to_spinend"]["about_flight_path"]
    assert abs(missed) <= 1.96 * float(str(ended.data["turns_sd"]))
    if not five:
        assert abs(missed) <= 0.10


@pytest.mark.parametrize(("situation", "seed"), [("loop", 1), ("spin", 0), ("barrel roll", 1)])
def test_down_carried_by_the_rates_is_the_library_s(situation: str, seed: int) -> None:
    """Ten seconds from the middle of the flight, through a vertical attitude or a spin; the frames are 10 ms apart."""
    f = flown(situation, seed)
    bank, pitch = np.radians(f.columns["roll_deg"]), np.radians(f.columns["pitch_deg"])
    first = len(bank) // 3
    down = down_from_euler(bank[first], pitch[first])
    turns = 0.5 * (rates(f)[1:] + rates(f)[:-1]) * np.diff(f.time_s)[:, None]
    for i in range(first, first + 1000):
        down = carry_vector(*down, *turns[i])
    there = down_from_euler(bank[first + 1000], pitch[first + 1000])
    assert np.degrees(np.arccos(np.clip(np.dot(down, there), -1.0, 1.0))) < 1.0


@pytest.mark.parametrize(("situation", "seed"), [("steep turn", 0), ("spiral", 12), ("spin", 0)])
def test_rotation_about_the_vertical_is_heading_less_bank_times_the_sine_of_pitch(situation: str, seed: int) -> None:
    """Exactly, omega . down = psi_dot - phi_dot sin(theta) (docs/method/rotation.md), with the library's own angles."""
    f = flown(situation, seed)
    bank, pitch, heading = (np.unwrap(np.radians(f.columns[n])) for n in ("roll_deg", "pitch_deg", "heading_deg"))
    w = [about_vertical(*r, *down_from_euler(b, p)) for r, b, p in zip(rates(f), bank, pitch, strict=True)]
    turned = float(np.sum(0.5 * (np.array(w)[1:] + np.array(w)[:-1]) * np.diff(f.time_s)))
    sine = np.sin(0.5 * (pitch[1:] + pitch[:-1]))
    assert turned == pytest.approx(float(heading[-1] - heading[0] - np.sum(sine * np.diff(bank))), abs=np.radians(2.0))
    assert abs(turned) > np.radians(300.0)
