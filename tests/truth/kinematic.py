"""Spins whose motion is prescribed, so that the truth is exact: no aerodynamics, no pilot, any orientation.

Attitude is a product of elementary rotations (path heading, path angle, rotation about the path, alpha, beta), each a
smooth function of time; body rates follow from it in closed form (docs/method/truth.md, "Prescribed motion").
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from tests.truth import labels
from tests.truth.atmosphere import calibrated_airspeed
from tests.truth.flight import DEG, KNOT, START_NS, Flight

Floats = NDArray[np.float64]
STEP_S = 0.005
G0 = 9.80665
STALL_UPRIGHT, STALL_INVERTED = np.radians(15.0), np.radians(13.5)


def smooth(t: Floats, start: float, seconds: float) -> Floats:
    """0 before, 1 after, with two continuous derivatives (quintic)."""
    x = np.clip((t - start) / seconds, 0.0, 1.0)
    return np.asarray(x**3 * (10.0 - 15.0 * x + 6.0 * x * x))


@dataclass(frozen=True)
class Motion:
    """Prescribed histories, rad and m/s: path heading, path angle (up positive), rotation about the path, alpha, beta, speed."""

    t: Floats
    heading: Floats
    climb: Floats
    twist: Floats
    alpha: Floats
    beta: Floats
    speed: Floats
    controls: dict[str, Floats]
    marks: dict[str, list[float]]


def _rotation(axis: str, angle: Floats) -> Floats:
    """Matrices (n, 3, 3) taking components in the turned frame to the frame before."""
    c, s, o, z = np.cos(angle), np.sin(angle), np.ones_like(angle), np.zeros_like(angle)
    rows = {
        "x": [[o, z, z], [z, c, -s], [z, s, c]],
        "y": [[c, z, s], [z, o, z], [-s, z, c]],
        "z": [[c, -s, z], [s, c, z], [z, z, o]],
    }[axis]
    return np.moveaxis(np.array(rows), 2, 0)


def _turned_back(matrix: Floats, vector: Floats) -> Floats:
    turned: Floats = np.einsum("nji,nj->ni", matrix, vector)
    return turned


def _axis(k: int, rate: Floats) -> Floats:
    out = np.zeros((len(rate), 3))
    out[:, k] = rate
    return out


def body_rates(m: Motion) -> tuple[Floats, Floats]:
    """Body rates (n, 3) and the attitude matrices (n, 3, 3) body to Earth (north, east, down)."""
    d = [np.gradient(x, m.t, edge_order=2) for x in (m.heading, m.climb, m.twist, m.alpha, m.beta)]
    steps = [("z", m.heading, 1.0), ("y", m.climb, 1.0), ("x", m.twist, 1.0), ("y", m.alpha, 1.0), ("z", -m.beta, -1.0)]
    rates = np.zeros((len(m.t), 3))
    attitude = np.broadcast_to(np.eye(3), (len(m.t), 3, 3))
    for (axis, angle, sign), rate in zip(steps, d, strict=True):
        turn = _rotation(axis, angle)
        rates = _turned_back(turn, rates) + _axis("xyz".index(axis), sign * rate)
        attitude = attitude @ turn
    return rates, attitude


def _trapezoid(y: Floats, t: Floats) -> Floats:
    return np.concatenate(([0.0], np.cumsum(0.5 * (y[1:] + y[:-1]) * np.diff(t))))


def flight_of(name: str, situation: str, seed: int, m: Motion, height_m: float, *, in_spin: Floats) -> Flight:
    """Columns and truth of a prescribed motion; in_spin (0..1) weighs the helix's centripetal acceleration."""
    rates, attitude = body_rates(m)
    down = attitude[:, 2, :]
    flow = np.stack([np.cos(m.alpha) * np.cos(m.beta), np.sin(m.beta), np.sin(m.alpha) * np.cos(m.beta)], axis=1)
    omega_v = np.einsum("ni,ni->n", rates, down)
    omega_fp = np.einsum("ni,ni->n", rates, flow)
    sink = m.speed * np.einsum("ni,ni->n", flow, down)
    height = height_m - _trapezoid(sink, m.t)
    roll = np.arctan2(down[:, 1], down[:, 2])
    pitch = np.arcsin(np.clip(-down[:, 0], -1, 1))
    heading = np.unwrap(np.arctan2(attitude[:, 1, 0], attitude[:, 0, 0]))
    turns_fp, turns_v = _trapezoid(omega_fp, m.t) / (2 * np.pi), _trapezoid(omega_v, m.t) / (2 * np.pi)
    columns = {
        "roll_rate_dps": rates[:, 0] * DEG,
        "pitch_rate_dps": rates[:, 1] * DEG,
        "yaw_rate_dps": rates[:, 2] * DEG,
        "pressure_altitude_ft": height / 0.3048,
        "roll_deg": roll * DEG,
        "pitch_deg": pitch * DEG,
        "heading_deg": np.mod(heading * DEG, 360.0),
        "alpha_deg": m.alpha * DEG,
        "beta_deg": m.beta * DEG,
        "calibrated_airspeed_kt": calibrated_airspeed(m.speed, height) / KNOT,
        **_loads(m, attitude, flow, in_spin),
        **{k: v * 100.0 for k, v in m.controls.items()},
    }
    exact = labels.Exact(
        m.t, m.alpha, rates[:, 2], omega_v, turns_fp, turns_v, height, pitch, heading, STALL_UPRIGHT, STALL_INVERTED
    )
    truth = labels.label(exact, m.marks)
    truth["start_time_ns"] = START_NS
    stall = (STALL_UPRIGHT * DEG, -STALL_INVERTED * DEG)
    return Flight(name, "kinematic", situation, seed, m.t, columns, turns_fp, turns_v, truth, stall)


def _loads(m: Motion, attitude: Floats, flow: Floats, in_spin: Floats) -> dict[str, Floats]:
    """Loads from the path's acceleration; in the spin g/tan(alpha) towards the axis is added (steady-spin relation)."""
    velocity = m.speed[:, None] * np.einsum("nij,nj->ni", attitude, flow)
    acceleration = np.gradient(velocity, m.t, axis=0)
    lift = -np.sign(m.alpha)[:, None] * attitude[:, :, 2]
    lift[:, 2] = 0.0
    inward = lift / np.maximum(np.linalg.norm(lift, axis=1), 0.2)[:, None]
    size = in_spin * G0 / np.tan(np.maximum(np.abs(m.alpha), 0.3))
    acceleration = acceleration + inward * size[:, None]
    acceleration[:, 2] -= G0
    body = np.einsum("nji,nj->ni", attitude, acceleration) / G0
    return {"longitudinal_load_g": body[:, 0], "lateral_load_g": body[:, 1], "normal_load_g": -body[:, 2]}


def _numbers(rng: np.random.Generator, **ranges: tuple[float, float]) -> dict[str, float]:
    return {k: float(rng.uniform(*v)) for k, v in ranges.items()}


def spinning(situation: str, seed: int) -> Flight:
    """Level, stall, entry, spin, recovery, dive, pull-out, level; numbers by situation."""
    rng = np.random.default_rng([seed, sorted(SPINNING).index(situation), 77])
    c = _numbers(rng, **{**COMMON, **SPINNING[situation]})
    d = float(rng.choice([-1.0, 1.0]))
    side = -1.0 if situation == "inverted" or (situation == "any orientation" and rng.random() < 0.5) else 1.0
    t_in = 5.0 if side > 0 else float(rng.uniform(12.0, 20.0))
    t_out = t_in + c["ramp_s"] + c["turns"] * 360.0 / c["rate_dps"]
    t_dive = t_out + c["stop_s"]
    t = np.arange(0.0, t_dive + c["dive_s"] + 22.0, STEP_S)
    mean_rate = (
        np.radians(c["rate_dps"]) * smooth(t, t_in, c["ramp_s"]) * (1.0 + c["trend"] * smooth(t, t_in, t_out - t_in))
    )
    mean_rate = (
        mean_rate
        * (1.0 + c["rise"] * smooth(t, t_out, 0.4 * c["stop_s"]))
        * (1.0 - smooth(t, t_out + c["hold_s"], c["stop_s"]))
    )
    phase = _trapezoid(mean_rate * (1.0 - 0.5 * c["falter"]), t)
    rate = mean_rate * (1.0 - 0.5 * c["falter"] * (1.0 - np.cos(phase)))
    twist = _trapezoid(d * rate, t) + (np.pi * smooth(t, 2.5, 2.5) if side < 0 else 0.0)
    grown = smooth(t, t_in - 1.0, 1.5)
    top = np.radians(c["alpha_deg"]) + np.radians(c["alpha_rise_deg"]) * smooth(t, t_in + c["ramp_s"], t_out - t_in)
    wave = np.radians(c["alpha_wave_deg"]) * np.sin(phase + 0.7) * smooth(t, t_in + 0.5, c["ramp_s"])
    ended = smooth(t, t_out + c["unstall_s"], 0.8 + 0.3 * c["stop_s"])
    alpha = side * (np.radians(7.0) + grown * (1.0 - ended) * (top + wave - np.radians(7.0)) - np.radians(3.0) * ended)
    alpha = np.where(t < t_in - 2.0, np.radians(7.0 if side > 0 else 7.0 - 14.0 * smooth(t, 2.5, 2.5)), alpha)
    beta = np.radians(c["beta_deg"]) * np.sin(phase) * grown * (1.0 - ended)
    fallen = smooth(t, t_in + 0.3, c["fall_s"])
    level = smooth(t, t_dive + c["dive_s"], 9.0)
    climb = -np.radians(90.0 - c["tilt_deg"]) * fallen * (1.0 - level)
    speed = c["speed_mps"] * (
        1.0 + (c["descent_ratio"] - 1.0) * fallen + 0.7 * smooth(t, t_dive, 6.0) * (1 - 0.3 * level)
    )
    over = (
        float(np.ceil(twist[-1] / (2 * np.pi)) if d > 0 else np.floor(twist[-1] / (2 * np.pi))) * 2 * np.pi - twist[-1]
    )
    if abs(over) > np.pi:  # the shorter way to wings level
        over -= np.copysign(2 * np.pi, over)
    twist = twist + over * smooth(t, t_dive - 0.3, c["dive_s"] + 1.5)
    alpha = np.where(side < 0, alpha + (np.radians(8.0)) * smooth(t, t_dive + 0.5, 3.0), alpha)
    controls = _controls(t, t_in, t_out, d, side) if c["controls"] > 0.4 else {}
    heading = np.full_like(t, float(rng.uniform(0, 2 * np.pi)))
    marks = {"recovery": [t_out], "pro_spin": [t_in - 1.0]} if controls else {"recovery": [], "pro_spin": []}
    motion = Motion(t, heading, climb, twist, alpha, beta, speed, controls, marks)
    in_spin = np.abs(rate) / np.radians(c["rate_dps"]) * fallen
    return flight_of(
        f"kinematic_{situation.replace(' ', '_')}-{seed}", situation, seed, motion, 5500.0, in_spin=in_spin
    )


def _controls(t: Floats, t_in: float, t_out: float, d: float, side: float) -> dict[str, Floats]:
    pro, anti = smooth(t, t_in - 1.0, 0.3), smooth(t, t_out, 0.3)
    later, free = smooth(t, t_out + 0.5, 0.4), smooth(t, t_out + 3.0, 0.5)
    return {
        "stick_aft_pct": side * (0.2 + 0.8 * pro - 1.4 * later + 0.4 * free),
        "stick_right_pct": np.zeros_like(t),
        "pedal_right_pct": d * (pro - 2.0 * anti + free),
        "throttle_pct": np.zeros_like(t),
    }


COMMON: dict[str, tuple[float, float]] = {
    "rate_dps": (100.0, 190.0), "turns": (1.5, 6.0), "ramp_s": (1.5, 3.5), "alpha_deg": (24.0, 45.0),
    "alpha_rise_deg": (0.0, 0.0), "alpha_wave_deg": (0.0, 3.0), "beta_deg": (0.0, 8.0), "falter": (0.0, 0.2),
    "trend": (-0.1, 0.1), "rise": (0.0, 0.1), "hold_s": (0.0, 0.3), "stop_s": (0.8, 2.0), "unstall_s": (0.2, 1.2),
    "fall_s": (3.0, 6.0), "tilt_deg": (0.0, 8.0), "dive_s": (1.0, 3.0), "speed_mps": (38.0, 48.0),
    "descent_ratio": (1.2, 1.6), "controls": (0.0, 1.0),
}  # fmt: skip
SPINNING: dict[str, dict[str, tuple[float, float]]] = {
    "steady": {},
    "faltering": {"falter": (0.45, 0.66), "alpha_wave_deg": (2.0, 8.0), "alpha_deg": (28.0, 50.0)},
    "steep to flat": {"alpha_deg": (25.0, 30.0), "alpha_rise_deg": (25.0, 40.0), "turns": (4.0, 8.0), "trend": (0.0, 0.3)},
    "flat": {"alpha_deg": (60.0, 78.0), "alpha_wave_deg": (0.0, 5.0), "turns": (3.0, 7.0)},
    "inverted": {"alpha_deg": (22.0, 45.0)},
    "slow": {"rate_dps": (75.0, 100.0), "turns": (1.5, 4.0)},
    "fast": {"rate_dps": (190.0, 280.0)},
    "slow recovery": {"stop_s": (3.0, 7.0), "hold_s": (1.0, 4.0), "unstall_s": (3.0, 8.0), "alpha_deg": (40.0, 65.0)},
    "rotation rises": {"rise": (0.3, 0.5), "hold_s": (1.0, 2.0), "stop_s": (1.5, 3.0), "unstall_s": (1.5, 3.0)},
    "any orientation": {"tilt_deg": (0.0, 25.0), "turns": (2.0, 5.0)},
}  # fmt: skip


def _rolling(situation: str, seed: int) -> Flight:
    """Unstalled rotation: vertical rolls, a spiral dive, a rolling dive."""
    rng = np.random.default_rng([seed, sorted(ROLLING).index(situation), 78])
    c = _numbers(rng, **ROLLING[situation])
    d = float(rng.choice([-1.0, 1.0]))
    turning = c["turns"] * 360.0 / max(c["roll_dps"], c["turn_dps"])
    t = np.arange(0.0, 8.0 + turning + 16.0, STEP_S)
    inside = smooth(t, 6.0, 1.5) * (1.0 - smooth(t, 7.0 + turning, 1.2))
    twist = _trapezoid(d * np.radians(c["roll_dps"]) * inside, t)
    heading = _trapezoid(d * np.radians(c["turn_dps"]) * inside, t)
    bank = d * np.radians(c["bank_deg"]) * inside
    down = smooth(t, 3.0, 3.0) * (1.0 - smooth(t, 9.0 + turning, 6.0))
    climb = -np.radians(c["dive_deg"]) * down
    alpha = np.radians(3.0 + (c["alpha_deg"] - 3.0) * inside)
    speed = 55.0 + 30.0 * smooth(t, 4.0, turning + 4.0)
    motion = Motion(t, heading, climb, twist + bank, alpha, np.zeros_like(t), speed, {}, {})
    name = f"kinematic_{situation.replace(' ', '_')}-{seed}"
    return flight_of(name, situation, seed, motion, 4000.0, in_spin=np.zeros_like(t))


ROLLING: dict[str, dict[str, tuple[float, float]]] = {
    "vertical rolls": {"roll_dps": (90.0, 300.0), "turn_dps": (0.0, 0.0), "bank_deg": (0.0, 0.0), "dive_deg": (80.0, 90.0),
                       "alpha_deg": (0.5, 5.0), "turns": (1.5, 5.0)},
    "spiral dive": {"roll_dps": (0.0, 0.0), "turn_dps": (20.0, 55.0), "bank_deg": (50.0, 75.0), "dive_deg": (20.0, 55.0),
                    "alpha_deg": (5.0, 11.0), "turns": (1.5, 4.0)},
    "rolling dive": {"roll_dps": (60.0, 250.0), "turn_dps": (0.0, 0.0), "bank_deg": (0.0, 0.0), "dive_deg": (20.0, 70.0),
                     "alpha_deg": (1.0, 7.0), "turns": (1.5, 4.0)},
}  # fmt: skip


def build(situation: str, seed: int) -> Flight:
    """One flight of a prescribed situation."""
    return spinning(situation, seed) if situation in SPINNING else _rolling(situation, seed)


def entries() -> list[tuple[str, int]]:
    """(situation, seed) of the benchmark's prescribed flights."""
    return [(s, k) for s in SPINNING for k in range(6)] + [(s, k) for s in ROLLING for k in range(4)]
