"""Sets of channels between full telemetry and the required five: each finds the spin and says on what, and how surely."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.core.detector.flights import block_of, flight, of_kind, plan_of
from tests.truth import catalogue
from tests.truth.degrade import degraded

from spinfloor.core import channels as ch
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind
from spinfloor.core.frames import FrameBlock

ATTITUDE = ("roll_deg", "pitch_deg", "heading_deg")
SETS = {
    "air data": ATTITUDE,
    "attitude": ("alpha_deg", "beta_deg"),
    "attitude and air data": ("beta_deg",),
    "rates and altitude": (*ATTITUDE, "alpha_deg", "beta_deg", "calibrated_airspeed_kt"),
}
KINDS = ("developed", "flat", "oscillatory", "power on", "ailerons with")
NORMAL_95 = 1.959964


def _events(situation: str, seed: int, without: tuple[str, ...]) -> list[Event]:
    f = flight(situation, seed)
    record = degraded(f, "none, 100 Hz", five=False)
    record = replace(record, columns={k: v for k, v in record.columns.items() if k not in without})
    return Detector(sortie="t", plan=plan_of(f)).feed(block_of(record))


@pytest.mark.parametrize("evidence", SETS)
def test_spins_are_found_and_the_interval_holds(evidence: str) -> None:
    held, starts, flights = [], 0, 0
    for kind, seed in catalogue.entries():
        if kind not in KINDS:
            continue
        (true,) = flight(kind, seed).truth["spins"]
        events = _events(kind, seed, SETS[evidence])
        started, ended = of_kind(events, Kind.SPIN_STARTED), of_kind(events, Kind.SPIN_ENDED)
        flights, starts = flights + 1, starts + len(started)
        assert started[0].data["evidence"] == evidence
        assert started[0].data["direction"] == true["direction"]
        assert started[0].data["orientation"] == true["orientation"]
        error = float(str(ended[0].data["turns"])) - true["turns"]["start_to_spinend"]["about_flight_path"]
        held.append(abs(error) <= NORMAL_95 * float(str(ended[0].data["turns_sd"])))
    assert flights >= 40
    assert flights <= starts <= flights + 1  # one flight of them is entered again at once by rates alone
    assert np.mean(held) >= 0.88


def _alpha_noise(block: FrameBlock, column: int, sd_rad: float) -> FrameBlock:
    values = block.values.copy()
    values[:, column] += np.random.default_rng(3).normal(0.0, sd_rad, len(values))
    return FrameBlock(block.time_ns, values)


@pytest.mark.parametrize("situation", ["spiral", "inverted spiral"])
@pytest.mark.parametrize("seed", [0, 1])
def test_a_noisy_vane_makes_no_spin_of_a_spiral(situation: str, seed: int) -> None:
    """3 deg of noise on a wing that flies some degrees below its stall dips below it again and again."""
    f = flight(situation, seed)
    block = block_of(degraded(f, "50 Hz", five=False))
    noisy = _alpha_noise(block, ch.ALPHA, np.radians(3.0))
    assert of_kind(Detector(sortie="t", plan=plan_of(f)).feed(noisy), Kind.SPIN_STARTED) == []


@pytest.mark.parametrize("outage_s", [(14.0, 22.0), (10.0, 30.0)])
def test_alpha_that_comes_back_flying_drops_what_was_seen_without_it(outage_s: tuple[float, float]) -> None:
    f = flight("inverted spiral", 0)
    block = block_of(degraded(f, "50 Hz", five=False))
    values = block.values.copy()
    t = (block.time_ns - block.time_ns[0]) * 1e-9
    values[(t > outage_s[0]) & (t < outage_s[1]), ch.ALPHA] = np.nan
    events = Detector(sortie="t", plan=plan_of(f)).feed(FrameBlock(block.time_ns, values))
    assert of_kind(events, Kind.SPIN_STARTED) == []
