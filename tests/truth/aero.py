"""Forces and moments of the invented family by strips: wing, tailplane, fin, fuselage; compiled.

Nothing here knows what a spin is. Autorotation comes out of the section curves: past the stall the lift slope is
negative, so the strip that goes down loses lift (docs/method/truth.md gives the equations and their derivation).
"""

import math

from numba import njit
from tests.truth.airframe import FIELD as _F

MASS, IXX, IYY, IZZ, IXZ = (_F[n] for n in ("mass_kg", "ixx_kgm2", "iyy_kgm2", "izz_kgm2", "ixz_kgm2"))
AREA, SPAN, CHORD, CG = (_F[n] for n in ("wing_area_m2", "span_m", "chord_m", "cg_aft_m"))
WX, WZ, DIHEDRAL, WASHOUT, INCIDENCE = (
    _F[n] for n in ("wing_x_m", "wing_z_m", "dihedral_rad", "washout_rad", "incidence_rad")
)
SLOPE, ALPHA0, STALL, STALL_INV, STALL_W, PLATE, CD0, INDUCED, CM_STALLED = (
    _F[n]
    for n in (
        "lift_slope",
        "zero_lift_alpha_rad",
        "stall_alpha_rad",
        "stall_alpha_inverted_rad",
        "stall_width_rad",
        "plate_normal_90",
        "drag_zero",
        "induced",
        "moment_stalled",
    )
)
T_AREA, T_ARM, T_Z, T_INC, DOWNWASH, ELEVATOR = (
    _F[n]
    for n in ("tail_area_m2", "tail_arm_m", "tail_z_m", "tail_incidence_rad", "downwash_slope", "elevator_effect_rad")
)
F_AREA, F_ARM, F_Z, BLANK, RUDDER, AILERON = (
    _F[n] for n in ("fin_area_m2", "fin_arm_m", "fin_z_m", "fin_blank", "rudder_effect_rad", "aileron_effect_rad")
)
FUS_W, FUS_NOSE, FUS_TAIL, CROSS = (
    _F[n] for n in ("fuselage_width_m", "fuselage_nose_m", "fuselage_tail_m", "cross_flow_drag")
)
AUTO_YAW, AUTO_ALPHA, THRUST, THRUST_V, SLIP, ROTOR, ROTOR_IDLE, ASYMMETRY = (
    _F[n]
    for n in (
        "auto_yaw",
        "auto_yaw_alpha_rad",
        "thrust_static_n",
        "thrust_speed_mps",
        "slipstream",
        "rotor_momentum_nms",
        "idle_momentum",
        "stall_asymmetry_rad",
    )
)
STRIPS = 10  # per wing
FUSELAGE_STRIPS = 8


@njit(cache=True)
def section(alpha, slope, alpha0, stall, stall_inv, width, plate, cd0, induced):
    """Lift and drag coefficient of one strip at any angle of attack, and how stalled it is (0..1)."""
    a = alpha - alpha0
    edge = stall - alpha0 if a >= 0.0 else stall_inv + alpha0
    x = (abs(a) - edge) / width
    stalled = 1.0 / (1.0 + math.exp(-x)) if x < 40.0 else 1.0
    s = math.sin(a)
    normal = plate * 1.283 * s / (0.283 + 1.0 * abs(s)) if s != 0.0 else 0.0
    attached = slope * a
    lift = (1.0 - stalled) * attached + stalled * normal * math.cos(a)
    drag = (1.0 - stalled) * (cd0 + induced * attached * attached) + stalled * (cd0 + abs(normal * s))
    return lift, drag, stalled


@njit(cache=True)
def _bump(x, centre, width):
    z = (x - centre) / width
    return math.exp(-z * z)


@njit(cache=True)
def _wing(p, rho, uvw, rates, right, out):
    n = STRIPS
    area = p[AREA] / (2 * n)
    half = 0.5 * p[SPAN]
    x = p[WX] + p[CG]
    z = p[WZ]
    for side in (-1.0, 1.0):
        for i in range(n):
            eta = (i + 0.5) / n
            y = side * half * eta
            u = uvw[0] + rates[1] * z - rates[2] * y
            v = uvw[1] + rates[2] * x - rates[0] * z
            w = uvw[2] + rates[0] * y - rates[1] * x
            q = 0.5 * rho * (u * u + w * w)
            speed = math.sqrt(u * u + v * v + w * w) + 0.1
            alpha = math.atan2(w, u) + p[INCIDENCE] - p[WASHOUT] * eta + p[DIHEDRAL] * side * v / speed
            stall = p[STALL] - (p[ASYMMETRY] if side > 0 else 0.0)
            lift, drag, stalled = section(
                alpha, p[SLOPE], p[ALPHA0], stall, p[STALL_INV], p[STALL_W], p[PLATE], p[CD0], p[INDUCED]
            )
            if eta > 0.5:
                share = p[AILERON] * right * (1.0 - 0.75 * stalled)
                lift -= side * p[SLOPE] * share
                drag += 0.05 * abs(share) - side * 0.02 * right * stalled
            c, s = math.cos(math.atan2(w, u)), math.sin(math.atan2(w, u))
            fx = q * area * (lift * s - drag * c)
            fz = q * area * (-lift * c - drag * s)
            normal = lift * c + drag * s
            out[0] += fx
            out[2] += fz
            out[3] += y * fz
            out[4] += z * fx - x * fz + q * area * p[CHORD] * p[CM_STALLED] * stalled * normal
            out[5] += -y * fx


@njit(cache=True)
def _tail(p, rho, uvw, rates, aft, q_slip, alpha, wing_attached, out):
    x = -(p[T_ARM] - p[CG])
    z = p[T_Z]
    for side in (-1.0, 1.0):
        y = side * 0.75
        u = uvw[0] + rates[1] * z - rates[2] * y
        w = uvw[2] + rates[0] * y - rates[1] * x
        q = 0.5 * rho * (u * u + w * w) + q_slip
        flow = math.atan2(w, u) - p[DOWNWASH] * alpha * wing_attached + p[T_INC]
        stalled_share = 1.0 / (1.0 + math.exp(-(abs(flow) - 0.32) / 0.05)) if abs(flow) < 2.0 else 1.0
        effect = p[ELEVATOR] * (1.0 - 0.45 * stalled_share)
        lift, drag, _ = section(flow - effect * aft, 3.6, 0.0, 0.30, 0.30, 0.05, 1.2, 0.015, 0.08)
        a = math.atan2(w, u)
        c, s = math.cos(a), math.sin(a)
        area = 0.5 * p[T_AREA]
        fx = q * area * (lift * s - drag * c)
        fz = q * area * (-lift * c - drag * s)
        out[0] += fx
        out[2] += fz
        out[3] += y * fz
        out[4] += z * fx - x * fz
        out[5] += -y * fx


@njit(cache=True)
def _fin(p, rho, uvw, rates, pedal, q_slip, alpha, out):
    x = -(p[F_ARM] - p[CG])
    clear = 1.0 - p[BLANK] * _bump(alpha, 0.79, 0.38)
    for k in range(2):
        z = p[F_Z] * (0.55 + 0.9 * k)
        u = uvw[0] + rates[1] * z
        v = uvw[1] + rates[2] * x - rates[0] * z
        w = uvw[2] - rates[1] * x
        along = math.sqrt(u * u + w * w)
        # sweep of the flow across the fin: only part of the stream at high angle of attack works on it
        q = 0.5 * rho * (u * u + 0.6 * w * w + v * v) + q_slip
        flow = math.atan2(v, along) + p[RUDDER] * pedal
        side, drag, _ = section(flow, 3.0, 0.0, 0.33, 0.33, 0.06, 1.2, 0.012, 0.08)
        fy = -q * 0.5 * p[F_AREA] * clear * side
        out[0] -= q * 0.5 * p[F_AREA] * clear * drag
        out[1] += fy
        out[3] += -z * fy
        out[5] += x * fy


@njit(cache=True)
def _fuselage(p, rho, uvw, rates, alpha, out):
    n = FUSELAGE_STRIPS
    length = p[FUS_NOSE] + p[FUS_TAIL]
    for i in range(n):
        x = -p[FUS_TAIL] + length * (i + 0.5) / n + p[CG]
        width = p[FUS_W] * (0.55 if x < -0.4 * p[FUS_TAIL] else 1.0)
        v = uvw[1] + rates[2] * x
        w = uvw[2] - rates[1] * x
        k = -0.5 * rho * p[CROSS] * width * (length / n) * math.sqrt(v * v + w * w)
        out[1] += k * v
        out[2] += k * w
        out[4] += -x * k * w
        out[5] += x * k * v
    u, v, w = uvw[0], uvw[1], uvw[2]
    speed2 = u * u + v * v + w * w
    speed = math.sqrt(speed2) + 0.1
    spin_rate = (rates[0] * u + rates[1] * v + rates[2] * w) / speed * p[SPAN] / (2.0 * speed)
    yaw = p[AUTO_YAW] * _bump(abs(alpha), p[AUTO_ALPHA], 0.42) * math.tanh(spin_rate / 0.08)
    out[5] += 0.5 * rho * speed2 * p[AREA] * p[SPAN] * yaw * (1.0 if alpha >= 0.0 else -1.0)


@njit(cache=True)
def forces(p, rho, uvw, rates, controls, out):
    """Aerodynamic and engine forces and moments in body axes: out = X, Y, Z, L, M, N (newton, newton metre).

    uvw: air-relative velocity of the cg, m/s; rates: p, q, r, rad/s; controls: aft, right, pedal right, throttle.
    """
    for i in range(6):
        out[i] = 0.0
    aft, right, pedal, throttle = controls[0], controls[1], controls[2], controls[3]
    alpha = math.atan2(uvw[2], uvw[0])
    speed = math.sqrt(uvw[0] ** 2 + uvw[1] ** 2 + uvw[2] ** 2)
    attached = 1.0 / (1.0 + math.exp((abs(alpha) - p[STALL]) / 0.05))
    thrust = throttle * p[THRUST] * max(0.0, 1.0 - max(0.0, uvw[0]) / p[THRUST_V]) * rho / 1.225
    q_slip = p[SLIP] * thrust / 3.0 * (0.4 + 0.6 * attached)
    _wing(p, rho, uvw, rates, right, out)
    _tail(p, rho, uvw, rates, aft, q_slip, alpha, attached, out)
    _fin(p, rho, uvw, rates, pedal, q_slip, alpha, out)
    _fuselage(p, rho, uvw, rates, alpha, out)
    out[0] += thrust
    rotor = p[ROTOR] * throttle + p[ROTOR_IDLE]
    out[4] += -rotor * rates[2]
    out[5] += rotor * rates[1]
    # propeller torque reaction, power over shaft speed (250 rad/s)
    out[3] -= thrust * min(speed, 60.0) / 250.0 * (1.0 if rotor > 0.0 else 0.0)
