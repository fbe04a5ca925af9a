"""Turn rates: rotation about the vertical and about the flight path, without Euler-angle rates.

Rates in rad/s, body axes. The Euler form psi_dot = (q sin phi + r cos phi)/cos theta is singular at theta = +-90 deg,
which steep spins pass through; the projections below are not. Derivation: docs/method/rotation.md.
"""

import math

from spinfloor.core.compiled import shared


@shared
def about_vertical(p: float, q: float, r: float, dx: float, dy: float, dz: float) -> float:
    """omega . down [rad/s]; positive clockwise seen from above."""
    return p * dx + q * dy + r * dz


@shared
def velocity_direction(alpha: float, beta: float) -> tuple[float, float, float]:
    """Unit velocity vector in body axes from angle of attack and sideslip [rad]."""
    cb = math.cos(beta)
    return math.cos(alpha) * cb, math.sin(beta), math.sin(alpha) * cb


@shared
def about_flight_path(p: float, q: float, r: float, vx: float, vy: float, vz: float) -> float:
    """omega . velocity direction [rad/s]; positive clockwise seen along the flight path."""
    return p * vx + q * vy + r * vz


@shared
def alpha_from_rates(p: float, r: float) -> float:
    """Angle of attack [rad, -pi/2..pi/2] of a steady spin from tan(alpha) = r/p; 0 when neither turns.

    Source: steady-spin relations p = W cos(alpha), r = W sin(alpha); derivation in docs/method/steady-spin.md.
    """
    if p < 0.0:
        return math.atan2(-r, -p)
    if p == 0.0 and r == 0.0:
        return 0.0
    return math.atan2(r, p)
