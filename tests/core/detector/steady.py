"""A spin with nothing left to chance: prescribed alpha, period and descent, from level flight, exact by construction."""

from __future__ import annotations

import numpy as np
from tests.truth import kinematic
from tests.truth.flight import Flight
from tests.truth.kinematic import Motion, smooth

FT = 0.3048
ENTRY_S, RAMP_S = 9.0, 1.5


def steady_spin(
    alpha_deg: float,
    seconds_per_turn: float,
    *,
    yaw: int = 1,
    upright: bool = True,
    descent_fps: float = 150.0,
    turns: float = 6.0,
    alpha_later_deg: float | None = None,
) -> Flight:
    """Level, the entry over RAMP_S, then the steady spin until the recording ends; alpha drifts to `alpha_later_deg`.

    yaw: +1 right, -1 left, as the crew feel it. An inverted spin is entered from level inverted flight.
    """
    side = 1.0 if upright else -1.0
    t = np.arange(0.0, ENTRY_S + RAMP_S + turns * seconds_per_turn, kinematic.STEP_S)
    rotation = 2.0 * np.pi / seconds_per_turn * smooth(t, ENTRY_S, RAMP_S)
    turned = np.concatenate(([0.0], np.cumsum(0.5 * (rotation[1:] + rotation[:-1]) * np.diff(t))))
    over = 0.0 * t if upright else np.pi * smooth(t, 1.0, 2.5)
    sense = float(yaw) * side  # about the vertical, clockwise positive
    grown = smooth(t, ENTRY_S - 0.5, RAMP_S)
    top = np.full_like(t, np.radians(alpha_deg))
    if alpha_later_deg is not None:
        later = smooth(t, ENTRY_S + 2.0 * RAMP_S, turns * seconds_per_turn - 2.0 * RAMP_S)
        top = top + later * np.radians(alpha_later_deg - alpha_deg)
    flying = np.radians(7.0)
    alpha = side * (flying + grown * (top - flying))
    if not upright:
        alpha = np.where(t < ENTRY_S - 0.5, flying * (1.0 - 2.0 * smooth(t, 1.0, 2.5)), alpha)
    fallen = smooth(t, ENTRY_S + 0.2, 2.0)
    speed = descent_fps * FT * (0.75 + 0.25 * fallen)
    motion = Motion(t, 0.5 + 0.0 * t, -np.pi / 2 * fallen, sense * turned + over, alpha, 0.0 * t, speed, {}, {})
    name = f"steady {alpha_deg:g} deg {seconds_per_turn:g} s"
    return kinematic.flight_of(name, "steady", 0, motion, 6000.0, in_spin=fallen)
