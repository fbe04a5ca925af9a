"""One flight of a card: the stepping loop (compiled), the contract's columns and the truth labels of what came out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.truth import labels
from tests.truth.atmosphere import density
from tests.truth.flight import DEG, START_NS, Flight, contract_columns, euler
from tests.truth.rotary import card as c
from tests.truth.rotary import loop, motion
from tests.truth.rotary.card import Card
from tests.truth.rotary.shape import Shape
from tests.truth.rotary.tables import rotary, static
from tests.truth.rotary.told import judged

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Sky:
    """Where it begins, what the air does, what the hands are like."""

    height_m: float
    speed_mps: float
    heading_rad: float = 0.0
    gust_mps: float = 0.0
    hand_lag_s: float = 0.1
    hand_speed: float = 3.5  # full travels per second
    tremor: float = 0.01
    longest_s: float = 150.0


def stall_speed(s: Shape, height_m: float) -> float:
    """Level flight at the stall angle, m/s true."""
    lift = s.lift_slope * (s.stall_rad - s.zero_lift_rad)
    return math.sqrt(2 * s.mass_kg * 9.80665 / (float(density(height_m)) * s.area_m2 * lift))


def rows_of(s: Shape, card: Card, sky: Sky, seed: int) -> Floats:
    """The exact history, one row each 5 ms, as `loop` lays it out."""
    n = int(sky.longest_s / loop.STEP_S)
    noise = np.random.default_rng(seed).standard_normal((n, 10)).astype(np.float32)
    start = np.zeros(motion.STATE)
    alpha = 0.05
    start[2] = sky.height_m
    start[3], start[4] = sky.speed_mps * math.cos(sky.heading_rad), sky.speed_mps * math.sin(sky.heading_rad)
    ca, sa, ch, sh = (f(x / 2) for x in (alpha, sky.heading_rad) for f in (math.cos, math.sin))
    start[6], start[7], start[8], start[9] = ca * ch, -sa * sh, sa * ch, ca * sh
    return np.asarray(
        loop.fly(
            s.array, static(s), rotary(s), start, card.array, noise, sky.gust_mps, sky.hand_lag_s, sky.hand_speed, sky.tremor
        )
    )  # fmt: skip


def _attitude(rows: Floats) -> tuple[Floats, Floats, Floats]:
    return euler(*(rows[:, i] for i in range(loop.QW, loop.QW + 4)))


def columns_of(rows: Floats, s: Shape) -> dict[str, Floats]:
    """Contract columns in edge units."""
    return contract_columns(
        rows[:, loop.P : loop.P + 3],
        rows[:, loop.H],
        _attitude(rows),
        rows[:, loop.AIR : loop.AIR + 3],
        rows[:, loop.FORCE : loop.FORCE + 3] / (s.mass_kg * 9.80665),
        rows[:, loop.HANDS : loop.HANDS + 4],
    )


def _marks(rows: Floats, card: Card) -> dict[str, list[float]]:
    numbers = rows[:, loop.LINE_NUMBER].astype(int)
    marks: dict[str, list[float]] = {"recovery": [], "pro_spin": []}
    before = c.PLAIN
    for k, line in enumerate(card.lines):
        hits = np.flatnonzero(numbers == k)
        if not len(hits):
            break
        what = int(line[12])
        if what != before and what == c.RECOVERING:
            marks["recovery"].append(float(rows[hits[0], 0]))
        elif what != before and what == c.PRO_SPIN:
            marks["pro_spin"].append(float(rows[hits[0], 0]))
        before = what
    return marks


def simulate(situation: str, seed: int, s: Shape, card: Card, sky: Sky) -> Flight:
    """Fly the card and label the flight from its exact state."""
    rows = rows_of(s, card, sky, seed)
    columns = columns_of(rows, s)
    _roll, pitch, heading = _attitude(rows)
    exact = labels.Exact(
        rows[:, 0], columns["alpha_deg"] / DEG, rows[:, loop.P + 2], rows[:, loop.OMEGA_V], rows[:, loop.TFP], rows[:, loop.TV],
        rows[:, loop.H], pitch, heading, s.stall_rad, s.stall_inverted_rad,
    )  # fmt: skip
    truth: dict[str, Any] = judged(labels.label(exact, _marks(rows, card)), rows, s)
    truth |= {
        "segments_flown": int(rows[-1, loop.LINE_NUMBER]) + 1,
        "segments": len(card.lines),
        "start_time_ns": START_NS,
    }
    truth["fastest"] = float(np.max(np.linalg.norm(rows[:, loop.AIR : loop.AIR + 3], axis=1))) / stall_speed(
        s, sky.height_m
    )
    return Flight(
        f"rotary_{situation.replace(' ', '_')}-{seed}", "rotary", situation, seed, rows[:, 0].copy(), columns,
        rows[:, loop.TFP].copy(), rows[:, loop.TV].copy(), truth, (s.stall_rad * DEG, -s.stall_inverted_rad * DEG),
    )  # fmt: skip
