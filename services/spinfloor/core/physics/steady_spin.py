"""Steady-spin relations: axis vertical, descent vertical, wings level, resultant force normal to the chord.

Derivation: docs/method/steady-spin.md (same relations as in the NASA TN D-6575 family of steady-spin analyses).
"""

import math
from dataclasses import dataclass

from spinfloor.core.units import STANDARD_GRAVITY_MPS2


@dataclass(frozen=True, slots=True)
class SteadySpin:
    """Body rates [rad/s], spin radius [m] and resultant load factor [g] of a steady spin."""

    roll_rate_radps: float
    yaw_rate_radps: float
    radius_m: float
    load_factor_g: float


def steady_spin(alpha_rad: float, rotation_radps: float) -> SteadySpin:
    """p = W cos a, r = W sin a, R = g/(W^2 tan a), n = 1/sin a, for 0 < a < pi/2 and W > 0.

    Raises ValueError outside that range (no steady spin of this form exists there).
    """
    if not 0.0 < alpha_rad < 0.5 * math.pi or not rotation_radps > 0.0:
        raise ValueError("a steady spin needs 0 < alpha < 90 deg and a positive rotation rate")
    return SteadySpin(
        roll_rate_radps=rotation_radps * math.cos(alpha_rad),
        yaw_rate_radps=rotation_radps * math.sin(alpha_rad),
        radius_m=STANDARD_GRAVITY_MPS2 / (rotation_radps**2 * math.tan(alpha_rad)),
        load_factor_g=1.0 / math.sin(alpha_rad),
    )


def loss_per_turn_m(sink_mps: float, rotation_radps: float) -> float:
    """Height lost per turn [m] = sink x period; NaN when nothing turns."""
    if rotation_radps == 0.0:
        return math.nan
    return sink_mps * 2.0 * math.pi / abs(rotation_radps)
