"""Rates and attitude of one frame: gyro bias, the rotation over the step, down carried and corrected.

Rates rad/s, rotations rad, times int64 ns. Derivations: docs/method/attitude.md.
"""

import math
from typing import Any

from spinfloor.core import channels as ch
from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.attitude_check import check_attitude
from spinfloor.core.physics.attitude import (
    carry_vector,
    down_from_euler,
    down_from_quaternion,
    quaternion_from_euler,
    rotation_between,
    turned,
)

_TURN = 2.0 * math.pi


@hot
def set_down(s: Any, x: float, y: float, z: float) -> None:
    """Store down as a unit vector."""
    n = math.sqrt(x * x + y * y + z * z)
    if n > 1e-6:
        scale = 1.0 / n
        s.dx, s.dy, s.dz = x * scale, y * scale, z * scale


@inner
def down_by_rotation(s: Any, p: float, q: float, r: float) -> None:
    """Where a spin may be going on already, down is along its axis, on the side of the nose, and of the belly in a flat one."""
    plane2 = p * p + r * r
    stalled = abs(r) > math.tan(tu.LEAST_RATE_ALPHA_RAD) * abs(p)
    if not (plane2 > tu.JOINED_RADPS**2 and stalled and q * q < tu.JOINED_PITCH_SHARE**2 * plane2):
        return
    flat = abs(p) < tu.JOINED_FLAT_SHARE * abs(r)
    side = math.copysign(1.0, r if flat else p)
    set_down(s, side * p, side * q, side * r)
    s.down_sd = s.nose_sd = tu.JOINED_DOWN_SD_RAD


@hot
def step_rates(s: Any, clean: Any, channels: Any, t: int, dt: float, turn: Any) -> bool:
    """Rates of this frame and `turn[0:3]`, the rotation since the last frame (mean rate times dt).

    A missing rate is held; when it comes back the held part is made good by the trapezoid. Returns True when all
    three rates are real.
    """
    p, q, r = clean[ch.ROLL_RATE], clean[ch.PITCH_RATE], clean[ch.YAW_RATE]
    real = p == p and q == q and r == r
    p = p - s.bias_p if p == p else s.p
    q = q - s.bias_q if q == q else s.q
    r = r - s.bias_r if r == r else s.r
    turn[0] = 0.5 * (s.p + p) * dt
    turn[1] = 0.5 * (s.q + q) * dt
    turn[2] = 0.5 * (s.r + r) * dt
    if real and s.rates_ns > 0:
        held = (t - s.rates_ns) * 1e-9 - dt
        if 1e-6 < held < 5.0:
            turn[0] += 0.5 * (p - s.p) * held
            turn[1] += 0.5 * (q - s.q) * held
            turn[2] += 0.5 * (r - s.r) * held
    if real:
        s.rates_ns = t
    s.p, s.q, s.r = p, q, r
    k = dt / (tu.FAST_S + dt)
    s.fast_p += k * (p - s.fast_p)
    s.fast_r += k * (r - s.fast_r)
    k = dt / (tu.MEAN_S + dt)
    s.mean_p += k * (p - s.mean_p)
    s.mean_q += k * (q - s.mean_q)
    s.mean_r += k * (r - s.mean_r)
    k = dt / (tu.SLOW_S + dt)
    s.slow_p += k * (p - s.slow_p)
    s.slow_q += k * (q - s.slow_q)
    s.slow_r += k * (r - s.slow_r)
    return bool(real)


@hot
def calm_reference(s: Any, dt: float) -> None:
    """In quasi-steady straight flight the gyros read their bias and the wings are level."""
    rate2 = s.slow_p**2 + s.slow_q**2 + s.slow_r**2
    now2 = s.mean_p**2 + s.mean_q**2 + s.mean_r**2
    if rate2 > tu.CALM_RADPS**2 or now2 > 4.0 * tu.CALM_RADPS**2 or s.chain != 0:
        s.calm_s = 0.0
        return
    s.calm_s += dt
    if s.calm_s < tu.CALM_S:
        return
    if s.att_ns == 0:
        k = dt / tu.BIAS_S
        limit = tu.BIAS_LIMIT_RADPS
        s.bias_p = min(max(s.bias_p + k * s.mean_p, -limit), limit)
        if abs(s.alt_rate) < tu.CRUISE_CLIMB_MPS:  # a slow change of the path looks like a bias of the pitch gyro
            s.bias_q = min(max(s.bias_q + k * s.mean_q, -limit), limit)
        s.bias_r = min(max(s.bias_r + k * s.mean_r, -limit), limit)
        s.bias_sd = max(s.bias_sd * (1.0 - k), 0.004)
        level_down(s, dt)


@inner
def level_down(s: Any, dt: float) -> None:
    """Draw the carried down towards wings level (upright or inverted, whichever is nearer) and cruise pitch."""
    side = 1.0 if s.dz >= 0.0 or s.calm_s > 60.0 else -1.0
    k = dt / tu.LEVEL_S
    climb = min(max(s.alt_rate / tu.CRUISE_SPEED_MPS, -0.9), 0.9)
    usual2 = tu.CRUISE_PITCH_SD_RAD**2 + 0.5 * climb * climb
    nose2 = s.nose_sd * s.nose_sd
    wait_s = min(max(tu.LEVEL_S * usual2 / nose2, 0.5), 30.0)
    slow = min(dt / wait_s, 0.5)
    s.nose_sd = max(math.sqrt(nose2 * (1.0 - slow)), tu.NOSE_LEAST_SD_RAD)
    x = s.dx + slow * (-math.sin(tu.CRUISE_PITCH_RAD + math.asin(climb)) - s.dx)
    y = s.dy - k * s.dy
    z = s.dz + k * (side * math.sqrt(max(0.0, 1.0 - x * x)) - s.dz)
    set_down(s, x, y, z)
    s.down_sd += k * (0.12 - s.down_sd)


@hot
def carry_down(s: Any, turn: Any, dt: float) -> None:
    """Turn the carried down by the body's rotation; its uncertainty grows with gyro bias and scale error."""
    x, y, z = carry_vector(s.dx, s.dy, s.dz, turn[0], turn[1], turn[2])
    set_down(s, x, y, z)
    angle2 = turn[0] ** 2 + turn[1] ** 2 + turn[2] ** 2
    scale2 = 2e-4 if dt <= tu.GAP_S else tu.GAP_TURN_SHARE**2  # over a gap only the rates at its two ends are known
    s.down_sd = min(math.sqrt(s.down_sd**2 + (s.bias_sd * dt) ** 2 + scale2 * angle2), 1.5)
    s.nose_sd = min(math.sqrt(s.nose_sd**2 + (s.bias_sd * dt) ** 2 + scale2 * angle2), 1.0)
    s.int_p += turn[0]
    s.int_q += turn[1]
    s.int_r += turn[2]


@inner
def carry_flow(s: Any, turn: Any, dt: float, in_spin: bool) -> None:
    """The way the aircraft goes, in body axes: down outside a spin; in one it follows the rotation's axis over a turn or two.

    In a known spin it is carried by the gyros from where down was and drawn towards the axis, which nutates about the
    velocity. Down itself is drawn there by as much as it is unsure.
    """
    if not in_spin:
        s.flow_x, s.flow_y, s.flow_z = s.dx, s.dy, s.dz
        return
    x, y, z = carry_vector(s.flow_x, s.flow_y, s.flow_z, turn[0], turn[1], turn[2])
    rate = math.sqrt(s.p * s.p + s.q * s.q + s.r * s.r)
    if rate >= 1.0:
        side = 1.0 if s.p * x + s.q * y + s.r * z > 0.0 else -1.0
        share = min(dt * rate / tu.FLOW_TURNS_RAD, 0.2)
        if s.nose_sd > tu.NOSE_LEAST_SD_RAD:
            _draw_down(s, share, side / rate)
        x, y, z = _drawn(s, x, y, z, share, side / rate)
    n = math.sqrt(x * x + y * y + z * z)
    if n > 1e-6:
        s.flow_x, s.flow_y, s.flow_z = x / n, y / n, z / n


@inner
def _drawn(s: Any, x: float, y: float, z: float, share: float, scale: float) -> tuple[float, float, float]:
    k = share * scale
    return x * (1.0 - share) + k * s.p, y * (1.0 - share) + k * s.q, z * (1.0 - share) + k * s.r


@inner
def _draw_down(s: Any, share: float, scale: float) -> None:
    """Down weighed against the axis of a spin, which stands some way off the vertical."""
    variance = s.nose_sd * s.nose_sd
    share *= variance / (variance + tu.SPIN_AXIS_SD_RAD**2)
    x, y, z = _drawn(s, s.dx, s.dy, s.dz, share, scale)
    set_down(s, x, y, z)
    s.nose_sd = max(s.nose_sd * math.sqrt(1.0 - share), tu.NOSE_LEAST_SD_RAD)


@inner
def step_attitude(s: Any, clean: Any, t: int, real: bool, clipped: Any, fix: Any) -> bool:
    """Correct down, bias and clipped or missing rates by telemetered attitude, at most every ATTITUDE_EVERY_S.

    `fix[0:3]` receives the rotation the gyros failed to see. Returns True when attitude is in use.
    """
    fix[0] = fix[1] = fix[2] = 0.0
    roll, pitch, heading = clean[ch.ROLL], clean[ch.PITCH], clean[ch.HEADING]
    if roll != roll or pitch != pitch:
        return s.att_ns > 0 and t - s.att_ns < 500_000_000 and s.att_bad == 0
    if s.att_ns > 0 and t - s.att_ns < int(tu.ATTITUDE_EVERY_S * 1e9):
        return s.att_bad == 0
    full = heading == heading
    a = b = c = d = 0.0
    if full:
        a, b, c, d = quaternion_from_euler(roll, pitch, heading)
        x, y, z = down_from_quaternion(a, b, c, d)
    else:
        x, y, z = down_from_euler(roll, pitch)
    elapsed = (t - s.att_ns) * 1e-9 if s.att_ns > 0 else 0.0
    whole = real and not (clipped[0] or clipped[1] or clipped[2])
    back = check_attitude(s, x, y, z, t, elapsed, whole)
    if s.att_bad == 0:
        w = 1.0 if s.att_ns == 0 or elapsed > 0.3 or back else 0.7
        set_down(s, s.dx + w * (x - s.dx), s.dy + w * (y - s.dy), s.dz + w * (z - s.dz))
        s.down_sd = s.nose_sd = 0.02
    if full:
        _heading_reference(s, a, b, c, d, elapsed, real, clipped, fix)
        if elapsed > 0.0 and dead(s, t):
            _rates_by_attitude(s, clean, elapsed, fix)
    s.att_ns = t
    s.int_p = s.int_q = s.int_r = 0.0
    return s.att_bad == 0


@inner
def dead(s: Any, t: int) -> bool:
    """A rate has been missing for so long that it is no longer held."""
    return bool((t - s.rates_ns) * 1e-9 > tu.DEAD_RATE_S)


@inner
def _rates_by_attitude(s: Any, clean: Any, elapsed: float, fix: Any) -> None:
    """A dead gyro's rate is what the attitude turned about its axis since the last look, smoothed."""
    k = elapsed / (tu.FAST_S + elapsed)
    if clean[ch.ROLL_RATE] != clean[ch.ROLL_RATE]:
        s.p += k * ((s.int_p + fix[0]) / elapsed - s.p)
    if clean[ch.PITCH_RATE] != clean[ch.PITCH_RATE]:
        s.q += k * ((s.int_q + fix[1]) / elapsed - s.q)
    if clean[ch.YAW_RATE] != clean[ch.YAW_RATE]:
        s.r += k * ((s.int_r + fix[2]) / elapsed - s.r)


@inner
def _over_the_gap(s: Any, elapsed: float) -> float:
    """How much further than the rates at a gap's two ends say the aircraft has turned in it: at least as the turn's mean.

    Rotation falters once per turn, and both ends may stand in a falter.
    """
    seen = math.sqrt(s.int_p * s.int_p + s.int_q * s.int_q + s.int_r * s.int_r)
    if elapsed <= tu.GAP_S or seen < 0.1:
        return 1.0
    return max(abs(s.wf_turn) * elapsed / seen, 1.0)


@inner
def _heading_reference(
    s: Any, w: float, x: float, y: float, z: float, elapsed: float, real: bool, clipped: Any, fix: Any
) -> None:
    """Compare gyro rotation with the change of full attitude: bias where the gyros are sound, repair where not."""
    known = s.q0 * s.q0 + s.q1 * s.q1 + s.q2 * s.q2 + s.q3 * s.q3 > 0.5
    if known and 0.0 < elapsed < 4.0 and s.att_bad == 0:
        # Predicted first, and what is left then: near a whole turn the shortest way between the two says nothing.
        more = _over_the_gap(s, elapsed)
        q0, q1, q2, q3 = turned(s.q0, s.q1, s.q2, s.q3, more * s.int_p, more * s.int_q, more * s.int_r)
        ea, eb, ec = rotation_between(q0, q1, q2, q3, w, x, y, z)
        if elapsed > tu.GAP_S and ea * ea + eb * eb + ec * ec > tu.WHOLE_TURN_DOUBT_RAD**2:
            s.unsure += (0.5 * _TURN) ** 2  # a turn more or less is nearly as likely
        ea, eb, ec = ea + (more - 1.0) * s.int_p, eb + (more - 1.0) * s.int_q, ec + (more - 1.0) * s.int_r
        if elapsed > 0.3 or not real:
            fix[0], fix[1], fix[2] = ea, eb, ec
        else:
            _repair_or_learn(s, ea, eb, ec, elapsed, clipped, fix)
    s.q0, s.q1, s.q2, s.q3 = w, x, y, z


@inner
def _repair_or_learn(s: Any, ea: float, eb: float, ec: float, elapsed: float, clipped: Any, fix: Any) -> None:
    limit = tu.BIAS_LIMIT_RADPS
    k = 1.0 / tu.BIAS_ATTITUDE_S
    if clipped[0] or clipped[1] or clipped[2]:
        fix[0] = ea if clipped[0] else 0.0
        fix[1] = eb if clipped[1] else 0.0
        fix[2] = ec if clipped[2] else 0.0
        return
    miss = abs(ea) + abs(eb) + abs(ec)
    usual = tu.BIAS_MISS_RAD + 2.0 * s.att_noise
    s.att_noise += 0.02 * (min(miss, 0.3) - s.att_noise)
    if miss < min(usual, 0.3):
        s.bias_p = min(max(s.bias_p - k * ea, -limit), limit)
        s.bias_q = min(max(s.bias_q - k * eb, -limit), limit)
        s.bias_r = min(max(s.bias_r - k * ec, -limit), limit)
        s.bias_sd = max(s.bias_sd * (1.0 - k * elapsed), 0.002)
