"""Angle of attack, the two turn rates and their integrals, with their smoothed companions.

Angles rad, rates rad/s, turned_f and turned_v rad (signed, clockwise positive). Derivations: docs/method/rotation.md.
"""

import math
from typing import Any

from spinfloor.core import channels as ch
from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.physics.rotation import about_flight_path, about_vertical, alpha_from_rates, velocity_direction


@hot
def _flight_path_direction(s: Any, clean: Any, t: int, axis: Any) -> bool:
    """Velocity direction in body axes into `axis`; True when it rests on measured alpha."""
    alpha, beta = clean[ch.ALPHA], clean[ch.BETA]
    if alpha == alpha:
        s.air_ns = t
        s.alpha = alpha
    if beta == beta:
        s.beta_ns = t
        s.beta = beta
    if s.air_ns > 0 and t - s.air_ns < tu.VANE_HOLD_NS:
        if s.pegged >= 2:
            # The vane stands at its stop: the rates tell how far beyond it alpha is.
            by_rates = math.atan2(abs(s.mean_r), abs(s.mean_p) + 1e-3)
            s.alpha = math.copysign(max(abs(s.alpha), by_rates), s.alpha)
        if not sideslip_measured(s, t) and s.pegged % 2 == 0:
            s.beta = 0.0
        axis[0], axis[1], axis[2] = velocity_direction(s.alpha, s.beta)
        return True
    # tan(alpha) = r/p on the smoothed rates; the velocity lies along the rotation, nose first.
    norm = math.sqrt(s.mean_p**2 + s.mean_r**2)
    s.alpha = alpha_from_rates(s.mean_p, s.mean_r)
    s.beta = 0.0
    if norm < 1e-3:
        axis[0], axis[1], axis[2] = 1.0, 0.0, 0.0
    else:
        side = 1.0 if s.mean_p >= 0.0 else -1.0
        if abs(s.mean_r) > max(tu.FLAT_SLOPE * abs(s.mean_p), tu.FLAT_YAW_RADPS) and abs(s.flow_z) > tu.FLAT_BELLY:
            # Nearly flat p is small and of either sign: belly or back first is what the carried flow says.
            side = 1.0 if s.mean_r * s.flow_z >= 0.0 else -1.0
            s.alpha = math.atan2(side * s.mean_r, side * s.mean_p)
        axis[0], axis[1], axis[2] = side * s.mean_p / norm, 0.0, side * s.mean_r / norm
    return False


@inner
def sideslip_measured(s: Any, t: int) -> bool:
    """A vane tells the sideslip, and does not stand at its stop."""
    return bool(s.beta_ns > 0 and t - s.beta_ns < tu.VANE_HOLD_NS and s.pegged % 2 == 0)


@inner
def _turn_in_sideslip(s: Any, turn: Any) -> float:
    """Rotation about the flight path in a spin whose sideslip no vane tells: it turns about its flight path, sideslip and all.

    Sideslip shows as a steady pitch rate, q = Omega sin(beta); its swings within the turn are smoothed away.
    """
    x, z = math.cos(s.alpha), math.sin(s.alpha)
    along = s.mean_p * x + s.mean_r * z
    slope = s.slow_q / along if abs(along) > 0.1 else 0.0  # tan(beta)
    slope = min(max(slope, -tu.SIDESLIP_SLOPE), tu.SIDESLIP_SLOPE)
    return float((turn[0] * x + turn[1] * slope + turn[2] * z) / math.sqrt(1.0 + slope * slope))


@hot
def step_air(s: Any, clean: Any, t: int, dt: float, turn: Any, axis: Any, in_spin: bool) -> bool:
    """Rates and integrals of this frame; True when alpha was measured."""
    measured = _flight_path_direction(s, clean, t, axis)
    s.wf = about_flight_path(s.p, s.q, s.r, axis[0], axis[1], axis[2])
    s.wv = about_vertical(s.p, s.q, s.r, s.dx, s.dy, s.dz)
    s.last_f = s.turned_f
    if in_spin and not (measured and sideslip_measured(s, t)):
        s.turned_f += _turn_in_sideslip(s, turn)
    else:
        s.turned_f += turn[0] * axis[0] + turn[1] * axis[1] + turn[2] * axis[2]
    s.turned_v += turn[0] * s.dx + turn[1] * s.dy + turn[2] * s.dz
    _smooth(s, dt)
    if measured != (s.by_vane == 1):
        # What alpha rests on has changed: the smoothed one of before is another quantity.
        s.by_vane = 1 if measured else 0
        s.alpha_fast = s.last_alpha = s.alpha
    return measured


@hot
def _smooth(s: Any, dt: float) -> None:
    k = dt / (tu.FAST_S + dt)
    s.last_wv_fast = s.wv_fast
    s.wv_fast += k * (s.wv - s.wv_fast)
    s.wf_fast += k * (s.wf - s.wf_fast)
    s.last_alpha = s.alpha_fast
    s.alpha_fast += dt / (tu.ALPHA_FAST_S + dt) * (s.alpha - s.alpha_fast)
    # Over about a turn: the time constant follows the rotation, between 0.5 s and 3 s.
    tau = min(max(3.0 / (abs(s.wf_turn) + 0.5), 0.5), 3.0)
    k = dt / (tau + dt)
    s.wf_turn += k * (s.wf - s.wf_turn)
    s.alpha_turn += k * (s.alpha - s.alpha_turn)


@hot
def grow_uncertainty(s: Any, turn: Any, dt: float, real: bool, measured: bool) -> None:
    """Variance of the turn integral: bias, scale, unknown alpha, held rates and gaps. See docs/method/uncertainty.md."""
    angle = abs(s.wf) * dt
    # Errors that keep their sign add as standard deviations, not as variances: d(sd^2) = 2 sd * d(sd).
    systematic = s.bias_sd * dt + (0.004 if measured else 0.02) * angle
    s.unsure += 2.0 * math.sqrt(s.unsure) * systematic + systematic * systematic
    if not real or dt > tu.GAP_S:
        s.unsure += (0.25 * abs(s.wf) + 0.1) ** 2 * dt * max(dt, 0.2)
