"""A flight with its truth: contract columns at a base rate, exact counters, and the truth record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.truth import dynamics as dyn
from tests.truth import labels
from tests.truth.airframe import Airframe
from tests.truth.atmosphere import calibrated_airspeed
from tests.truth.pilot import RECOVERY, Script

Floats = NDArray[np.float64]
START_NS = 1_778_000_000_000_000_000
REQUIRED = ("roll_rate_dps", "pitch_rate_dps", "yaw_rate_dps", "pressure_altitude_ft")
DEG = 180.0 / np.pi
KNOT = 1852.0 / 3600.0


@dataclass(frozen=True)
class Flight:
    """time_s and every column have shape (n,), at the base rate (200 Hz for our own simulator)."""

    name: str
    source: str  # ours | kinematic | jsbsim | shared
    situation: str
    seed: int
    time_s: Floats
    columns: dict[str, Floats]
    turns_about_flight_path: Floats
    turns_about_vertical: Floats
    truth: dict[str, Any]
    stall_deg: tuple[float, float]

    @property
    def time_ns(self) -> NDArray[np.int64]:
        """Nanoseconds UTC of every frame."""
        return START_NS + np.rint(self.time_s * 1e9).astype(np.int64)


def euler(w: Floats, x: Floats, y: Floats, z: Floats) -> tuple[Floats, Floats, Floats]:
    """Roll, pitch, heading (unwrapped heading, rad) from the attitude quaternion."""
    roll = np.arctan2(2 * (y * z + w * x), 1 - 2 * (x * x + y * y))
    pitch = np.arcsin(np.clip(-2 * (x * z - w * y), -1, 1))
    heading = np.unwrap(np.arctan2(2 * (x * y + w * z), 1 - 2 * (y * y + z * z)))
    return roll, pitch, heading


def contract_columns(
    rates: Floats, height_m: Floats, attitude: tuple[Floats, Floats, Floats], air: Floats, load: Floats, hands: Floats
) -> dict[str, Floats]:
    """Contract columns in edge units. rates rad/s, air (velocity through it) m/s and load g: shape (n, 3), z down; hands
    (aft, right, pedal, throttle): (n, 4), fractions of full travel.
    """
    roll, pitch, heading = attitude
    speed = np.linalg.norm(air, axis=1)
    return {
        "roll_rate_dps": rates[:, 0] * DEG,
        "pitch_rate_dps": rates[:, 1] * DEG,
        "yaw_rate_dps": rates[:, 2] * DEG,
        "pressure_altitude_ft": height_m / 0.3048,
        "roll_deg": roll * DEG,
        "pitch_deg": pitch * DEG,
        "heading_deg": np.mod(heading * DEG, 360.0),
        "alpha_deg": np.arctan2(air[:, 2], air[:, 0]) * DEG,
        "beta_deg": np.arcsin(np.clip(air[:, 1] / np.maximum(speed, 0.1), -1, 1)) * DEG,
        "calibrated_airspeed_kt": calibrated_airspeed(speed, height_m) / KNOT,
        "longitudinal_load_g": load[:, 0],
        "lateral_load_g": load[:, 1],
        "normal_load_g": -load[:, 2],
        "stick_aft_pct": hands[:, 0] * 100,
        "stick_right_pct": hands[:, 1] * 100,
        "pedal_right_pct": hands[:, 2] * 100,
        "throttle_pct": hands[:, 3] * 100,
    }


def _attitude(rows: Floats) -> tuple[Floats, Floats, Floats]:
    return euler(*(rows[:, i] for i in (dyn.QW, dyn.QX, dyn.QY, dyn.QZ)))


def columns_of(rows: Floats) -> dict[str, Floats]:
    """Contract columns in edge units from simulator rows."""
    return contract_columns(
        rows[:, [dyn.P, dyn.Q, dyn.R]],
        rows[:, dyn.H],
        _attitude(rows),
        rows[:, dyn.AIR_U : dyn.AIR_U + 3],
        rows[:, [dyn.AX, dyn.AY, dyn.AZ]],
        rows[:, [dyn.AFT, dyn.RIGHT, dyn.PEDAL, dyn.THROTTLE]],
    )


def _marks(rows: Floats, script: Floats) -> dict[str, list[float]]:
    """When the pilot first moved recovery or pro-spin controls, from the script's segments."""
    numbers = rows[:, dyn.SEGMENT_NUMBER].astype(int)
    marks: dict[str, list[float]] = {"recovery": [], "pro_spin": []}
    previous_law = 0.0
    for k in range(len(script)):
        hits = np.flatnonzero(numbers == k)
        if not len(hits):
            break
        law, pedal = script[k, 0], script[k, 7]
        if law == RECOVERY and previous_law != RECOVERY:
            marks["recovery"].append(float(rows[hits[0], 0]))
        elif abs(pedal) > 0.5 and law != RECOVERY:
            marks["pro_spin"].append(float(rows[hits[0], 0]))
        previous_law = law
    return marks


def simulate(
    name: str,
    situation: str,
    frame: Airframe,
    script: Script,
    *,
    seed: int,
    height_m: float,
    speed_mps: float,
    gust_mps: float = 0.0,
    longest_s: float = 240.0,
) -> Flight:
    """Fly the script and label the flight from its exact state."""
    rng = np.random.default_rng(seed)
    n = int(longest_s / dyn.STEP_S)
    noise = rng.standard_normal((n, 4)) if gust_mps > 0.0 else np.zeros((n, 4))
    start = _start(height_m, speed_mps, heading=float(rng.uniform(0, 2 * np.pi)))
    rows = dyn.fly(frame.array, start, script.array, gust_mps, noise, n)
    columns = columns_of(rows)
    _roll, pitch, heading = _attitude(rows)
    exact = labels.Exact(
        rows[:, 0], columns["alpha_deg"] / DEG, rows[:, dyn.R], rows[:, dyn.OMEGA_V], rows[:, dyn.TFP], rows[:, dyn.TV],
        rows[:, dyn.H], pitch, heading, frame.stall_alpha_rad, frame.stall_alpha_inverted_rad,
    )  # fmt: skip
    truth = labels.label(exact, _marks(rows, script.array))
    truth["segments_flown"] = int(rows[-1, dyn.SEGMENT_NUMBER]) + 1
    truth["segments"] = len(script.rows)
    truth["start_time_ns"] = START_NS
    return Flight(
        name, "ours", situation, seed, rows[:, 0].copy(), columns, rows[:, dyn.TFP].copy(), rows[:, dyn.TV].copy(), truth,
        (frame.stall_alpha_rad * DEG, -frame.stall_alpha_inverted_rad * DEG),
    )  # fmt: skip


def _start(height_m: float, speed: float, heading: float) -> Floats:
    s = np.zeros(dyn.STATE)
    alpha = 0.06
    s[2], s[3], s[5] = height_m, speed * np.cos(alpha), speed * np.sin(alpha)
    cp, sp = np.cos(alpha / 2), np.sin(alpha / 2)
    ch, sh = np.cos(heading / 2), np.sin(heading / 2)
    s[6], s[7], s[8], s[9] = cp * ch, -sp * sh, sp * ch, cp * sh
    return s
