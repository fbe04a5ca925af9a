"""What the common labels call a spin and the definitions do not: snap rolls about a path that is not vertical.

`labels` looks at stalled rotation about the vertical. On a path that climbs, or on a slope down flown fast, a snap roll has
both. By the definitions that is no spin. Rules, from the exact state and fixed before any detector had flown these flights:

- a stretch in which the aircraft does not sink is none (the path is over the horizon for its turns);
- a stretch of less than 1.5 turns about a path always less than 60 deg below the horizon, at a mean resultant load over 1.7 g
  (a stall far over its 1 g speed), is one that nobody can call: borderline.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from tests.truth.rotary import loop

Floats = NDArray[np.float64]
SHORT_TURNS = 1.5
SHALLOW_RAD = np.radians(60.0)
ACCELERATED_LOAD = 1.7


def judged(truth: dict[str, Any], rows: Floats, weight_n: float) -> dict[str, Any]:
    """The truth record with such stretches taken out of the spins (and into the borderline ones)."""
    spins, borderline = [], list(truth["borderline"])
    for s in truth["spins"]:
        a = int(np.searchsorted(rows[:, 0], s["start_s"]))
        b = len(rows) - 1 if s["spin_end_s"] is None else int(np.searchsorted(rows[:, 0], s["spin_end_s"]))
        verdict = _verdict(rows, a, b, weight_n)
        if verdict == "spin":
            spins.append(s)
        elif verdict == "nobody":
            borderline.append([s["start_s"], s["spin_end_s"] if s["spin_end_s"] is not None else float(rows[-1, 0])])
    return {**truth, "spins": spins, "borderline": sorted(borderline)}


def _verdict(rows: Floats, a: int, b: int, weight_n: float) -> str:
    path = rows[a : b + 1, loop.SUNK - 2 : loop.SUNK + 1]
    steepness = np.arctan2(path[:, 2], np.hypot(path[:, 0], path[:, 1]))
    if rows[b, loop.H] >= rows[a, loop.H]:
        return "none"
    turned = abs(float(rows[b, loop.TFP] - rows[a, loop.TFP]))
    force = np.linalg.norm(rows[a : b + 1, loop.FORCE : loop.FORCE + 3], axis=1)
    load = float(np.mean(force)) / weight_n
    if turned < SHORT_TURNS and float(steepness.max()) < SHALLOW_RAD and load > ACCELERATED_LOAD:
        return "nobody"
    return "spin"
