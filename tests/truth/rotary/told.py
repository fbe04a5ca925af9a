"""What the common labels call a spin although the definitions do not, or nobody can say; from the exact state alone.

`labels` looks at stalled rotation about the vertical. By the definitions a snap roll about a path that is not vertical is no
spin, and neither is a gyration after the stall. Rules:

- a stretch over which the aircraft does not lose height is none;
- nobody can call, and so is *borderline*: at a mean load over 1.7 g less than 0.75 turns, or less than 1.5 about a path that never
  is 60 deg steep (an accelerated snap or gyration); a mean rotation under 36 deg/s (ten seconds a turn: mushing round); a stretch that
  is stalled on its side for less than 60 % of its time; less than 0.4 turn about the flight path.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.truth import labels
from tests.truth.rotary import loop
from tests.truth.rotary.shape import Shape

Floats = NDArray[np.float64]
SHORT_TURNS, SHALLOW_TURNS = 0.75, 1.5
SHALLOW_RAD = np.radians(60.0)
ACCELERATED_LOAD = 1.7
SLOW_RADPS = np.radians(36.0)
STALLED_SHARE = 0.6


def judged(truth: dict[str, Any], rows: Floats, shape: Shape) -> dict[str, Any]:
    """The truth record with such stretches taken out of the spins, and into the borderline ones where nobody can say."""
    spins, borderline = [], list(truth["borderline"])
    last = float(rows[-1, 0])
    for s in truth["spins"]:
        a, b = s["start_s"], last if s["spin_end_s"] is None else s["spin_end_s"]
        stretch = rows[np.searchsorted(rows[:, 0], a) : np.searchsorted(rows[:, 0], b) + 1]
        if s["spin_end_s"] is not None and stretch[-1, loop.H] >= stretch[0, loop.H]:
            continue
        if _nobody_can_say(stretch, shape, s["orientation"] == "upright"):
            borderline.append([a, b])
        else:
            spins.append(s)
    return {**truth, "spins": spins, "borderline": sorted(borderline)}


def _nobody_can_say(rows: Floats, shape: Shape, upright: bool) -> bool:
    turned = abs(float(rows[-1, loop.TFP] - rows[0, loop.TFP]))
    load = float(np.linalg.norm(rows[:, loop.FORCE : loop.FORCE + 3], axis=1).mean()) / (shape.mass_kg * 9.80665)
    alpha = np.arctan2(rows[:, loop.AIR + 2], rows[:, loop.AIR])
    stalled = alpha > shape.stall_rad if upright else alpha < -shape.stall_inverted_rad
    path = rows[:, loop.SUNK - 2 : loop.SUNK + 1]
    shallow = float(np.arctan2(path[:, 2], np.hypot(path[:, 0], path[:, 1])).max()) < SHALLOW_RAD
    short = turned < (SHALLOW_TURNS if shallow else SHORT_TURNS)
    return bool(
        turned < labels.SPIN_TURNS
        or (short and load > ACCELERATED_LOAD)
        or abs(float(rows[:, loop.OMEGA_V].mean())) < SLOW_RADPS
        or float(stalled.mean()) < STALLED_SHARE
    )
