"""Coefficient tables over alpha and rotation, in the form a static and a rotary balance give them.

Static: columns over alpha from -180 to 180 deg. Rotary: increments of roll, yaw and pitch over alpha and the rotation about
the velocity, Omega b / 2V. The curves are made here from a `Shape`; the motion only looks them up.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from tests.truth.rotary.shape import RAD, Shape

Floats = NDArray[np.float64]
STEP_DEG = 2.5
ALPHA_DEG = np.arange(-180.0, 180.0 + STEP_DEG / 2, STEP_DEG)
ROTATION_STEP = 0.05
ROTATION = np.arange(-0.8, 0.8 + ROTATION_STEP / 2, ROTATION_STEP)
COLUMNS = (
    "normal_attached", "axial_attached", "pitch_attached", "normal_stalled", "axial_stalled", "pitch_stalled",
    "separation", "side_linear", "side_blunt", "roll_beta", "yaw_beta", "yaw_blunt", "elevator", "rudder", "rudder_roll", "aileron",
    "aileron_yaw", "roll_damping", "pitch_damping", "yaw_damping", "roll_bias", "yaw_bias",
)  # fmt: skip
COLUMN = {name: i for i, name in enumerate(COLUMNS)}


def _bump(x: Floats, centre: float, width: float) -> Floats:
    return np.asarray(np.exp(-(((x - centre) / width) ** 2)))


def _separation(s: Shape, alpha: Floats) -> Floats:
    """Share of separated flow, 0 to 1; half at the stall angle plus a width."""
    edge = np.where(alpha >= 0.0, s.stall_rad, s.stall_inverted_rad)
    x = (np.abs(alpha) - edge - s.stall_width_rad) / (0.55 * s.stall_width_rad)
    return np.asarray(1.0 / (1.0 + np.exp(-np.clip(x, -60.0, 60.0))))


def static(s: Shape) -> Floats:
    """Shape (alpha, column)."""
    a = ALPHA_DEG * RAD
    size, sep = np.abs(a), _separation(s, a)
    sin, cos = np.sin(a), np.cos(a)
    lift = s.lift_slope * np.clip(a - s.zero_lift_rad, -0.6, 0.6)
    drag = s.drag_zero + s.induced * lift**2
    normal_90 = s.normal_90 * sin / (0.44 + 0.56 * np.abs(sin))
    upright = np.where(a > 0.0, 1.0, 0.8)
    fades = 1.0 - 0.65 * upright * np.sin(np.minimum(size, np.pi / 2)) ** 2
    shade = 1.0 - (1.0 - s.rudder_left) * np.where(
        a > 0.0, _bump(a, s.shade_rad, 0.42), 0.35 * _bump(-a, s.shade_rad, 0.42)
    )
    tail = 1.0 - (1.0 - s.elevator_left) * np.sin(np.minimum(size, np.pi / 2)) ** 2
    ail = 1.0 - (1.0 - s.aileron_left) * sep
    backwards = np.where(size > np.pi / 2, np.cos(size) * 0.5 + 0.5, 1.0)  # controls in reversed flow
    out = np.zeros((len(a), len(COLUMNS)))
    values = {
        "normal_attached": lift * cos + drag * sin,
        "axial_attached": drag * cos - lift * sin,
        "pitch_attached": -s.lift_slope * s.static_margin * (np.clip(a, -0.6, 0.6) - s.trim_rad),
        "normal_stalled": normal_90,
        "axial_stalled": s.drag_zero * 1.5 * cos,
        "pitch_stalled": -s.moment_90 * sin * (0.55 + 0.45 * np.abs(sin)),
        "separation": sep,
        "side_linear": -s.side_linear * (1.0 - 0.3 * sep),
        "side_blunt": -s.side_blunt * (0.5 + 0.5 * np.abs(sin)),
        "roll_beta": -np.where(a >= 0, 1.0, 0.4) * (s.dihedral * (1.0 - sep) + s.dihedral_stalled * sep * np.abs(cos)),
        "yaw_beta": s.weathercock + (s.weathercock_stalled - s.weathercock) / (1.0 + np.exp(-(size - 0.55) / 0.09)),
        "yaw_blunt": s.yaw_blunt * (0.5 + 0.5 * np.cos(a) ** 2),
        "elevator": s.elevator * tail * backwards,
        "rudder": s.rudder * fades * shade * backwards,
        "rudder_roll": -0.12 * s.rudder * np.abs(cos),
        "aileron": s.aileron * ail * backwards,
        "aileron_yaw": -np.sign(a) * (0.06 * s.aileron * (1.0 - sep) + s.adverse * sep),
        "roll_damping": -(s.roll_damping * (1.0 - sep) + (0.1 - 0.12 * _bump(size, s.stall_rad + 0.05, 0.07)) * sep),
        "pitch_damping": -s.pitch_damping * (1.0 + 0.3 * sep),
        "yaw_damping": -s.yaw_damping * (1.0 + 0.3 * sep),
        "roll_bias": s.asymmetry_roll * _bump(size, s.stall_rad + 0.04, 0.12),
        "yaw_bias": s.asymmetry_yaw * _bump(size, 0.8, 0.35),
    }
    for name, column in values.items():
        out[:, COLUMN[name]] = column
    return out


def rotary(s: Shape) -> Floats:
    """Increments by rotation about the velocity, shape (alpha, rotation, [roll, yaw, pitch]).

    Propelling at small rotation where the flow autorotates, damping beyond; odd in the rotation, pitch even.
    """
    a = ALPHA_DEG[:, None] * RAD
    w = ROTATION[None, :]
    size, sep = np.abs(a), _separation(s, a)
    edge = np.where(a >= 0.0, s.stall_rad, s.stall_inverted_rad)
    side = np.sign(np.sin(a))
    lean = np.abs(np.sin(a))
    peak = s.roll_auto * np.exp(-(((size - edge - 0.14) / s.roll_auto_width_rad) ** 2))
    rolled = np.cos(a) * (peak * w / (1.0 + (w / s.roll_auto_rate) ** 2) - s.roll_damping_stalled * w)
    attached = -s.roll_damping * np.cos(a) * w + 0.2 * np.sin(a) * w
    push = s.yaw_auto * np.exp(-(((size - s.yaw_auto_rad) / 0.35) ** 2))
    yawed = push * w / (1.0 + (w / s.yaw_auto_rate) ** 2) - s.yaw_damping * lean * w * (1.0 + 0.6 * lean)
    out = np.zeros((len(ALPHA_DEG), len(ROTATION), 3))
    out[:, :, 0] = (1.0 - sep) * attached + sep * rolled
    out[:, :, 1] = side * yawed - (1.0 - sep) * 0.04 * w
    out[:, :, 2] = -side * s.pitch_rotary * w**2 * lean
    return out
