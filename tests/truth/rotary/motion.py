"""Rigid-body motion on the coefficient tables: Earth-frame velocity, quaternion, lagging separation, Runge-Kutta; compiled.

The rates are resolved into the rotation about the velocity, which meets the rotary tables, and the rest, which meets the
oscillatory damping (the direct resolution of rotary and forced-oscillation data). State (17): north, east, height m;
north, east, down velocity m/s; quaternion body to Earth; p, q, r rad/s; turns about the flight path and about the
vertical; roll angle flown rad; separation 0..1.
"""

import math

from numba import njit
from tests.truth.atmosphere import density
from tests.truth.rotary.shape import FIELD as _F
from tests.truth.rotary.tables import COLUMN as _C
from tests.truth.rotary.tables import ROTATION, ROTATION_STEP, STEP_DEG

G0 = 9.80665
STATE = 17
FORCES = 6
MASS, AREA, SPAN, CHORD, IXX, IYY, IZZ, IXZ, ASPECT_LAG, THRUST, GONE, SLIP, ROTOR, IDLE, BUFFET = (
    _F[n]
    for n in (
        "mass_kg", "area_m2", "span_m", "chord_m", "ixx_kgm2", "iyy_kgm2", "izz_kgm2", "ixz_kgm2", "lag_chords", "thrust_n",
        "thrust_gone_mps", "slipstream", "rotor_nms", "idle", "buffet",
    )
)  # fmt: skip
(
    N_ATT, A_ATT, M_ATT, N_SEP, A_SEP, M_SEP, SEP, Y_LIN, Y_BLUNT, L_BETA, N_BETA, N_BLUNT, ELEVATOR, RUDDER, RUDDER_ROLL, AILERON,
    AILERON_YAW, L_P, M_Q, N_R, L_BIAS, N_BIAS,
) = (_C[n] for n in _C)  # fmt: skip
_FIRST_ROTATION = float(ROTATION[0])
_ROTATIONS = len(ROTATION)
_SLOWEST_MPS = 6.0  # rates are made non-dimensional with no less than this
_POWER_SPEED = 250.0  # shaft speed rad/s: torque is power over it
_HALF_DEGREES = 180.0


@njit(cache=True)
def along(table, alpha, column):
    """A static column at alpha (rad), linear between the rows."""
    x = (math.degrees(alpha) + _HALF_DEGREES) / STEP_DEG
    i = min(max(int(x), 0), table.shape[0] - 2)
    f = x - i
    return table[i, column] * (1.0 - f) + table[i + 1, column] * f


@njit(cache=True)
def about(table, alpha, rotation, column):
    """A rotary increment at alpha (rad) and Omega b / 2V, bilinear; held beyond the largest rotation."""
    x = (math.degrees(alpha) + _HALF_DEGREES) / STEP_DEG
    i = min(max(int(x), 0), table.shape[0] - 2)
    f = x - i
    w = min(max((rotation - _FIRST_ROTATION) / ROTATION_STEP, 0.0), _ROTATIONS - 1.000001)
    j = int(w)
    g = w - j
    low = table[i, j, column] * (1.0 - g) + table[i, j + 1, column] * g
    high = table[i + 1, j, column] * (1.0 - g) + table[i + 1, j + 1, column] * g
    return low * (1.0 - f) + high * f


@njit(cache=True)
def down_in_body(s):
    """Earth's down in body axes."""
    qw, qx, qy, qz = s[6], s[7], s[8], s[9]
    return 2.0 * (qx * qz - qw * qy), 2.0 * (qy * qz + qw * qx), 1.0 - 2.0 * (qx * qx + qy * qy)


@njit(cache=True)
def to_body(s, x, y, z):
    """An Earth-frame vector (north, east, down) in body axes."""
    qw, qx, qy, qz = s[6], s[7], s[8], s[9]
    bx = (1 - 2 * (qy * qy + qz * qz)) * x + 2 * (qx * qy + qw * qz) * y + 2 * (qx * qz - qw * qy) * z
    by = 2 * (qx * qy - qw * qz) * x + (1 - 2 * (qx * qx + qz * qz)) * y + 2 * (qy * qz + qw * qx) * z
    bz = 2 * (qx * qz + qw * qy) * x + 2 * (qy * qz - qw * qx) * y + (1 - 2 * (qx * qx + qy * qy)) * z
    return bx, by, bz


@njit(cache=True)
def to_earth(s, x, y, z):
    """A body vector in the Earth frame."""
    qw, qx, qy, qz = s[6], s[7], s[8], s[9]
    ex = (1 - 2 * (qy * qy + qz * qz)) * x + 2 * (qx * qy - qw * qz) * y + 2 * (qx * qz + qw * qy) * z
    ey = 2 * (qx * qy + qw * qz) * x + (1 - 2 * (qx * qx + qz * qz)) * y + 2 * (qy * qz - qw * qx) * z
    ez = 2 * (qx * qz - qw * qy) * x + 2 * (qy * qz + qw * qx) * y + (1 - 2 * (qx * qx + qy * qy)) * z
    return ex, ey, ez


@njit(cache=True)
def forces(p, static, rotary, rho, air, rates, separation, controls, shake, fm):
    """Air's and engine's X, Y, Z (N), L, M, N (N m) into fm. air: m/s, rates: rad/s, controls: aft, right, pedal, throttle."""
    u, v, w = air[0], air[1], air[2]
    speed = math.sqrt(u * u + v * v + w * w) + 1e-3
    alpha = math.atan2(w, u)
    sin_beta = v / speed
    beta = math.asin(min(1.0, max(-1.0, sin_beta)))
    pressure = 0.5 * rho * speed * speed
    slow = max(speed, _SLOWEST_MPS)
    scale, chords = p[SPAN] / (2.0 * slow), p[CHORD] / (2.0 * slow)
    spin = (rates[0] * u + rates[1] * v + rates[2] * w) / speed
    rest_p, rest_q, rest_r = rates[0] - spin * u / speed, rates[1] - spin * v / speed, rates[2] - spin * w / speed
    spin *= scale
    x = separation
    thrust = controls[3] * p[THRUST] * max(0.0, 1.0 - max(0.0, u) / p[GONE]) * rho / 1.225
    wash = 1.0 + p[SLIP] * min(3.0, 1.5 * thrust / (pressure * p[AREA] + 50.0)) * max(0.2, math.cos(alpha))
    normal = (1 - x) * along(static, alpha, N_ATT) + x * along(static, alpha, N_SEP)
    axial = (1 - x) * along(static, alpha, A_ATT) + x * along(static, alpha, A_SEP)
    across = math.cos(beta) ** 2
    force = pressure * p[AREA]
    fm[0] = -force * axial * across + thrust
    fm[1] = force * (along(static, alpha, Y_LIN) + along(static, alpha, Y_BLUNT) * abs(sin_beta)) * sin_beta
    fm[2] = -force * normal * across
    roll = (
        along(static, alpha, L_BETA) * sin_beta * math.cos(beta) + along(static, alpha, AILERON) * controls[1]
        + along(static, alpha, RUDDER_ROLL) * controls[2] + about(rotary, alpha, spin, 0)
        + along(static, alpha, L_P) * rest_p * scale + x * (along(static, alpha, L_BIAS) + p[BUFFET] * shake[0])
    )  # fmt: skip
    pitch = (
        ((1 - x) * along(static, alpha, M_ATT) + x * along(static, alpha, M_SEP)) * across
        + along(static, alpha, ELEVATOR) * wash * controls[0] + about(rotary, alpha, spin, 2)
        + along(static, alpha, M_Q) * rest_q * chords + x * 2.0 * p[BUFFET] * shake[1]
    )  # fmt: skip
    yaw = (
        (along(static, alpha, N_BETA) + along(static, alpha, N_BLUNT) * abs(sin_beta)) * sin_beta
        + along(static, alpha, RUDDER) * wash * controls[2]
        + along(static, alpha, AILERON_YAW) * controls[1] + about(rotary, alpha, spin, 1)
        + along(static, alpha, N_R) * rest_r * scale + x * (along(static, alpha, N_BIAS) + 0.3 * p[BUFFET] * shake[2])
    )  # fmt: skip
    fm[3] = force * p[SPAN] * roll
    fm[4] = force * p[CHORD] * pitch
    fm[5] = force * p[SPAN] * yaw
    turning = p[ROTOR] * (0.25 + 0.75 * controls[3]) if p[ROTOR] > 0.0 else 0.0
    fm[4] -= turning * rates[2]
    fm[5] += turning * rates[1]
    if p[SLIP] > 0.0:
        fm[3] -= thrust * min(speed, 60.0) / _POWER_SPEED


@njit(cache=True)
def derivative(p, static, rotary, s, controls, gust, shake, ds, fm, air):
    """ds/dt of the state. fm and air (air-relative velocity, body) are left with what this instant had."""
    rho = density(s[2])
    air[0], air[1], air[2] = to_body(s, s[3], s[4], s[5])
    air[0] -= gust[0]
    air[1] -= gust[1]
    air[2] -= gust[2]
    pp, qq, rr = s[10], s[11], s[12]
    rates = (pp - gust[3], qq, rr)
    forces(p, static, rotary, rho, air, rates, s[16], controls, shake, fm)
    m = p[MASS]
    ax, ay, az = to_earth(s, fm[0] / m, fm[1] / m, fm[2] / m)
    ds[0], ds[1], ds[2] = s[3], s[4], -s[5]
    ds[3], ds[4], ds[5] = ax, ay, az + G0
    qw, qx, qy, qz = s[6], s[7], s[8], s[9]
    ds[6] = 0.5 * (-qx * pp - qy * qq - qz * rr)
    ds[7] = 0.5 * (qw * pp + qy * rr - qz * qq)
    ds[8] = 0.5 * (qw * qq + qz * pp - qx * rr)
    ds[9] = 0.5 * (qw * rr + qx * qq - qy * pp)
    ixx, iyy, izz, ixz = p[IXX], p[IYY], p[IZZ], p[IXZ]
    mx = fm[3] + (iyy - izz) * qq * rr + ixz * pp * qq
    my = fm[4] + (izz - ixx) * pp * rr + ixz * (rr * rr - pp * pp)
    mz = fm[5] + (ixx - iyy) * pp * qq - ixz * qq * rr
    det = ixx * izz - ixz * ixz
    ds[10] = (izz * mx + ixz * mz) / det
    ds[11] = my / iyy
    ds[12] = (ixz * mx + ixx * mz) / det
    speed = math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2) + 1e-3
    dx, dy, dz = down_in_body(s)
    ds[13] = (pp * air[0] + qq * air[1] + rr * air[2]) / speed / (2.0 * math.pi)
    ds[14] = (pp * dx + qq * dy + rr * dz) / (2.0 * math.pi)
    ds[15] = pp
    alpha = math.atan2(air[2], air[0])
    lag = p[ASPECT_LAG] * p[CHORD] / max(speed, _SLOWEST_MPS)
    # separation comes late while pitching up, and early going down: the static curve at an alpha that lags the motion
    late = min(0.12, max(-0.12, 0.5 * lag * qq)) * (1.0 if alpha >= 0.0 else -1.0)
    back = alpha - (late if alpha >= 0.0 else -late)
    ds[16] = (along(static, min(math.pi, max(-math.pi, back)), SEP) - s[16]) / max(lag, 0.05)


@njit(cache=True)
def step(p, static, rotary, s, controls, gust, shake, dt, k, trial, fm, air):
    """Fourth-order Runge-Kutta, controls and gust held; the quaternion normalised."""
    derivative(p, static, rotary, s, controls, gust, shake, k[0], fm, air)
    for i in range(STATE):
        trial[i] = s[i] + 0.5 * dt * k[0, i]
    derivative(p, static, rotary, trial, controls, gust, shake, k[1], fm, air)
    for i in range(STATE):
        trial[i] = s[i] + 0.5 * dt * k[1, i]
    derivative(p, static, rotary, trial, controls, gust, shake, k[2], fm, air)
    for i in range(STATE):
        trial[i] = s[i] + dt * k[2, i]
    derivative(p, static, rotary, trial, controls, gust, shake, k[3], fm, air)
    for i in range(STATE):
        s[i] += dt / 6.0 * (k[0, i] + 2 * k[1, i] + 2 * k[2, i] + k[3, i])
    norm = math.sqrt(s[6] ** 2 + s[7] ** 2 + s[8] ** 2 + s[9] ** 2)
    for i in range(6, 10):
        s[i] /= norm
