"""The stated 95 % intervals over many noisy runs: they hold in 90 to 99.5 % of them, and are not wide for safety's sake.

Noise and, for altitudes, a static error of the size the product states (4 m; nobody else knows it) are drawn anew for
every run. One number per spin, so that a spin of many turns counts once.
"""

from __future__ import annotations

import math
from functools import cache
from typing import Any

import numpy as np
import pytest
from tests.core.detector.flights import block_of, flight, of_kind, plan_of
from tests.truth import catalogue
from tests.truth.degrade import noise, pristine, required_five
from tests.truth.flight import START_NS, Flight
from tests.truth.situations import SPINS

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
NORMAL_95 = 1.959964
RUNS_EACH = 2
STATIC_SD_FT = 4.0 / 0.3048  # as docs/method/altitude.md says


def seconds(event: Event) -> float:
    return (event.time_ns - START_NS) * 1e-9


def run(f: Flight, five: bool, seed: int) -> list[Event]:
    """Events of one noisy run with a static error of its own."""
    rng = np.random.default_rng([seed, f.seed, len(f.situation), 41])
    record = noise(pristine(f, 50.0), rng)
    error_ft = float(rng.normal(0.0, STATIC_SD_FT))
    record = record.with_columns({"pressure_altitude_ft": record.columns["pressure_altitude_ft"] + error_ft})
    block = block_of(required_five(record) if five else record)
    return Detector(sortie="t", plan=plan_of(f)).feed(block)


@cache
def measured(five: bool) -> dict[str, list[tuple[float, float]]]:
    """(error, stated standard deviation) by quantity, for every spin told of every run."""
    out: dict[str, list[tuple[float, float]]] = {"turns": [], "start altitude": [], "end altitude": [], "loss": []}
    for situation, seed in catalogue.entries():
        if situation not in SPINS or SPINS[situation][0] != 1 or situation == "not recovered":
            continue
        f = flight(situation, seed)
        for k in range(RUNS_EACH):
            events = run(f, five, k)
            started, ended = of_kind(events, Kind.SPIN_STARTED), of_kind(events, Kind.SPIN_ENDED)
            if started and ended:
                _spin(out, f, started[0], ended[0])
    return out


def _spin(out: dict[str, list[tuple[float, float]]], f: Flight, start: Event, end: Event) -> None:
    (true, *_) = f.truth["spins"]
    turns = true["turns"]["start_to_spinend"]["about_flight_path"]
    out["turns"].append((_value(end, "turns") - turns, _value(end, "turns_sd")))
    dates = (true["start_s"], true["spin_end_s"])  # the dates' own uncertainty is in the altitudes'
    heights = [float(np.interp(t, f.time_s, f.columns["pressure_altitude_ft"])) for t in dates]
    sds = [_value(e, "altitude_sd_ft") for e in (start, end)]
    for name, event, height, sd in zip(("start altitude", "end altitude"), (start, end), heights, sds, strict=True):
        out[name].append((_value(event, "altitude_ft") - height, sd))
    out["loss"].append((_value(end, "loss_ft") - (heights[0] - heights[1]), math.hypot(*sds)))


def _value(event: Event, name: str) -> float:
    value: Any = event.data[name]
    return float(value)


def share(pairs: list[tuple[float, float]], factor: float = 1.0) -> float:
    """How often the truth is within the interval, or within a part of it."""
    errors, sds = np.array(pairs).T
    return float(np.mean(np.abs(errors) <= factor * NORMAL_95 * sds))


@BOTH
@pytest.mark.parametrize("quantity", ["turns", "start altitude", "end altitude"])
def test_the_interval_holds_as_often_as_it_says(quantity: str, five: bool) -> None:
    pairs = measured(five)[quantity]
    assert len(pairs) > 180
    assert 0.90 <= share(pairs) <= 0.995


@pytest.mark.parametrize(
    ("quantity", "five"),
    [("start altitude", False), ("end altitude", False), ("end altitude", True), ("start altitude", True)],
)
def test_half_as_wide_would_not_do(quantity: str, five: bool) -> None:
    """Of a normal error 67 % are within half of the interval; one stated too wide would hold nearly all there too.

    Errors of a date by rates have long tails: most are small.
    """
    assert share(measured(five)[quantity], 0.5) < (0.9 if five else 0.8)


@BOTH
def test_what_a_spin_cost_is_within_what_its_heights_state(five: bool) -> None:
    assert share(measured(five)["loss"]) >= 0.90
