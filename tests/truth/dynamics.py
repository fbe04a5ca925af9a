"""Rigid-body motion of the invented aircraft: quaternion attitude, turbulence, Runge-Kutta, exact counters; compiled.

State (16): x, y, h (m, h up), u, v, w (inertial velocity in body axes, m/s), qw, qx, qy, qz (body to Earth),
p, q, r (rad/s), turns about the flight path, turns about the vertical, roll angle flown (rad).
"""

import math

import numpy as np
from numba import njit
from tests.truth import aero
from tests.truth.atmosphere import density
from tests.truth.pilot import END_NONE, MEMORY, demand, finished

G0 = 9.80665
STATE = 16
STEP_S = 0.005
# one recorded row: time, state, then these
EXTRA = 13
ROW = 1 + STATE + EXTRA
(T, X, Y, H, U, V, W, QW, QX, QY, QZ, P, Q, R, TFP, TV, ROLLED) = range(17)
(AX, AY, AZ, AFT, RIGHT, PEDAL, THROTTLE, AIR_U, AIR_V, AIR_W, OMEGA_V, OMEGA_FP, SEGMENT_NUMBER) = range(
    17, 17 + EXTRA
)


@njit(cache=True)
def down_in_body(s):
    """Earth's down direction in body axes from the state's quaternion."""
    qw, qx, qy, qz = s[6], s[7], s[8], s[9]
    return (
        2.0 * (qx * qz - qw * qy),
        2.0 * (qy * qz + qw * qx),
        1.0 - 2.0 * (qx * qx + qy * qy),
    )


@njit(cache=True)
def derivative(p, s, controls, gust, ds, fm):
    """ds/dt of the state; fm receives aerodynamic forces and moments."""
    dx, dy, dz = down_in_body(s)
    rho = density(s[2])
    air = np.empty(3)
    air[0], air[1], air[2] = s[3] - gust[0], s[4] - gust[1], s[5] - gust[2]
    rates = np.empty(3)
    rates[0], rates[1], rates[2] = s[10] - gust[3], s[11], s[12]
    aero.forces(p, rho, air, rates, controls, fm)
    m = p[aero.MASS]
    u, v, w = s[3], s[4], s[5]
    pp, qq, rr = s[10], s[11], s[12]
    ds[3] = fm[0] / m + G0 * dx + rr * v - qq * w
    ds[4] = fm[1] / m + G0 * dy + pp * w - rr * u
    ds[5] = fm[2] / m + G0 * dz + qq * u - pp * v
    qw, qx, qy, qz = s[6], s[7], s[8], s[9]
    ds[6] = 0.5 * (-qx * pp - qy * qq - qz * rr)
    ds[7] = 0.5 * (qw * pp + qy * rr - qz * qq)
    ds[8] = 0.5 * (qw * qq + qz * pp - qx * rr)
    ds[9] = 0.5 * (qw * rr + qx * qq - qy * pp)
    ixx, iyy, izz, ixz = p[aero.IXX], p[aero.IYY], p[aero.IZZ], p[aero.IXZ]
    hx = ixx * pp - ixz * rr
    hy = iyy * qq
    hz = izz * rr - ixz * pp
    mx = fm[3] - (qq * hz - rr * hy)
    my = fm[4] - (rr * hx - pp * hz)
    mz = fm[5] - (pp * hy - qq * hx)
    det = ixx * izz - ixz * ixz
    ds[10] = (izz * mx + ixz * mz) / det
    ds[11] = my / iyy
    ds[12] = (ixz * mx + ixx * mz) / det
    # Earth-frame velocity
    ds[0] = (1 - 2 * (qy * qy + qz * qz)) * u + 2 * (qx * qy - qw * qz) * v + 2 * (qx * qz + qw * qy) * w
    ds[1] = 2 * (qx * qy + qw * qz) * u + (1 - 2 * (qx * qx + qz * qz)) * v + 2 * (qy * qz - qw * qx) * w
    ds[2] = -(dx * u + dy * v + dz * w)
    speed = math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2) + 1e-6
    ds[13] = (pp * air[0] + qq * air[1] + rr * air[2]) / speed / (2.0 * math.pi)
    ds[14] = (pp * dx + qq * dy + rr * dz) / (2.0 * math.pi)
    ds[15] = pp


@njit(cache=True)
def _rk4(p, s, controls, gust, dt, k, trial, fm):
    derivative(p, s, controls, gust, k[0], fm)
    for i in range(STATE):
        trial[i] = s[i] + 0.5 * dt * k[0, i]
    derivative(p, trial, controls, gust, k[1], fm)
    for i in range(STATE):
        trial[i] = s[i] + 0.5 * dt * k[1, i]
    derivative(p, trial, controls, gust, k[2], fm)
    for i in range(STATE):
        trial[i] = s[i] + dt * k[2, i]
    derivative(p, trial, controls, gust, k[3], fm)
    for i in range(STATE):
        s[i] += dt / 6.0 * (k[0, i] + 2 * k[1, i] + 2 * k[2, i] + k[3, i])
    norm = math.sqrt(s[6] ** 2 + s[7] ** 2 + s[8] ** 2 + s[9] ** 2)
    for i in range(6, 10):
        s[i] /= norm


@njit(cache=True)
def _gust_step(gust, sigma, speed, dt, noise, span):
    """First-order Dryden-type filters: u with its length, v and w likewise, p with the span's (MIL-F-8785C form)."""
    for i in range(3):
        length = 530.0 if i < 2 else 300.0
        a = math.exp(-speed * dt / length)
        gust[i] = a * gust[i] + sigma * math.sqrt(1.0 - a * a) * noise[i]
    a = math.exp(-math.pi * speed * dt / (4.0 * span))
    gust[3] = a * gust[3] + 0.35 * sigma / span * math.sqrt(1.0 - a * a) * noise[3]


@njit(cache=True)
def fly(p, start, script, sigma, noise, max_rows):
    """Fly a script. Returns rows (n, ROW) every STEP_S, the state before each step with its loads and controls.

    script: (segments, SEGMENT) as `tests.truth.pilot` lays it out; noise: standard normals (max_rows, 4).
    """
    rows = np.zeros((max_rows, ROW))
    s = start.copy()
    k = np.zeros((4, STATE))
    trial = np.zeros(STATE)
    fm = np.zeros(6)
    gust = np.zeros(4)
    memory = np.zeros(MEMORY)
    wanted = np.zeros(4)
    controls = np.zeros(4)
    controls[3] = script[0, 8]
    ds = np.zeros(STATE)
    segment = 0
    began = 0.0
    entry = s.copy()
    n = 0
    for i in range(max_rows):
        t = i * STEP_S
        air = np.array([s[3] - gust[0], s[4] - gust[1], s[5] - gust[2]])
        speed = math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2) + 1e-6
        derivative(p, s, controls, gust, ds, fm)
        dx, dy, dz = down_in_body(s)
        row = rows[i]
        row[0] = t
        row[1 : 1 + STATE] = s
        for j in range(3):
            row[AX + j] = fm[j] / p[aero.MASS] / G0
            row[AIR_U + j] = air[j]
        row[AFT : AFT + 4] = controls
        row[OMEGA_V] = ds[14] * 2.0 * math.pi
        row[OMEGA_FP] = ds[13] * 2.0 * math.pi
        row[SEGMENT_NUMBER] = segment
        n = i + 1
        if s[2] < 150.0:
            break
        load = -row[AZ]
        if finished(script[segment], s, entry, t - began, air, row[OMEGA_V], load, memory):
            segment += 1
            if segment >= script.shape[0] or script[segment, 0] == END_NONE:
                break
            began = t
            entry = s.copy()
            memory[:] = 0.0
        demand(script[segment], s, t - began, air, load, dx, dy, dz, memory, wanted, entry)
        for j in range(4):
            step = p[len(p) - 1] * STEP_S * (1.0 if j < 3 else 0.3)
            controls[j] += min(step, max(-step, wanted[j] - controls[j]))
        _gust_step(gust, sigma, speed, STEP_S, noise[i], p[aero.SPAN])
        _rk4(p, s, controls, gust, STEP_S, k, trial, fm)
    return rows[:n]
