"""The loop of a flight: hands, air that moves, buffet, one step of the motion, one row of history; compiled."""

import math

import numpy as np
from numba import njit
from tests.truth.atmosphere import density
from tests.truth.rotary import hands, motion
from tests.truth.rotary.motion import G0, MASS, STATE

STEP_S = 0.005
LOWEST_M = 150.0
# one row: time, state, then these
H, QW, P, TFP, TV, ROLLED = 3, 7, 11, 14, 15, 16
FORCE, HANDS, AIR = STATE + 1, STATE + 4, STATE + 8
OMEGA_V, LINE_NUMBER = STATE + 11, STATE + 12
ROW = STATE + 13
SUNK = 6  # index of the downward velocity in a row
_SHAKE_S = 0.15
_TREMOR_S = 0.4


@njit(cache=True)
def _air_moves(memory, gust, sigma, speed, dt, noise, span):
    """Dryden gusts: u first order, v and w second order (MIL-F-8785C form), p with the span; m/s and rad/s."""
    if sigma <= 0.0:
        return
    e = math.exp(-dt * speed / 530.0)
    gust[0] = e * gust[0] + sigma * math.sqrt(1.0 - e * e) * noise[0]
    for i in range(2):
        t = (530.0 if i == 0 else 300.0) / speed
        e = math.exp(-dt / t)
        memory[2 * i] = e * memory[2 * i] + math.sqrt(1.0 - e * e) * noise[1 + i]
        memory[2 * i + 1] += (memory[2 * i] - memory[2 * i + 1]) * dt / t
        gust[1 + i] = (
            sigma / math.sqrt(2.0) * (math.sqrt(3.0) * memory[2 * i] + (1.0 - math.sqrt(3.0)) * memory[2 * i + 1])
        )
    e = math.exp(-math.pi * speed * dt / (4.0 * span))
    gust[3] = e * gust[3] + 0.35 * sigma / span * math.sqrt(1.0 - e * e) * noise[3]


@njit(cache=True)
def _drifts(x, tau, dt, noise):
    e = math.exp(-dt / tau)
    for i in range(3):
        x[i] = e * x[i] + math.sqrt(1.0 - e * e) * noise[i]


@njit(cache=True)
def _move_hands(controls, asked, felt, tremor, size, lag, fastest, dt):
    for j in range(3):
        felt[j] += (asked[j] - felt[j]) * dt / max(lag, dt)
        change = felt[j] + size * tremor[j] - controls[j]
        controls[j] = min(1.0, max(-1.0, controls[j] + min(fastest * dt, max(-fastest * dt, change))))
    controls[3] += min(0.5 * dt, max(-0.5 * dt, asked[3] - controls[3]))


@njit(cache=True)
def fly(p, static, rotary, start, card, noise, sigma, lag, fastest, tremor_size):
    """Rows (n, ROW) every STEP_S, each the state before a step; until the card is over or the ground is near."""
    rows = np.zeros((noise.shape[0], ROW))
    s = start.copy()
    k, trial, ds = np.zeros((4, STATE)), np.zeros(STATE), np.zeros(STATE)
    fm, air, gust = np.zeros(6), np.zeros(3), np.zeros(4)
    filters, shake, tremor, memory = np.zeros(4), np.zeros(3), np.zeros(3), np.zeros(hands.MEMORY)
    controls, asked, felt, begun_from = np.zeros(4), np.zeros(4), np.zeros(3), np.zeros(4)
    controls[3] = card[0, 6]
    number, began, noticed = 0, 0.0, -1.0
    entry = s.copy()
    n = 0
    for i in range(noise.shape[0]):
        t = i * STEP_S
        motion.derivative(p, static, rotary, s, controls, gust, shake, ds, fm, air)
        down = motion.down_in_body(s)
        omega_v = ds[14] * 2.0 * math.pi
        row = rows[i]
        row[0] = t
        row[1 : 1 + STATE] = s
        row[FORCE : FORCE + 3] = fm[0:3]
        row[HANDS : HANDS + 4] = controls
        row[AIR : AIR + 3] = air
        row[OMEGA_V] = omega_v
        row[LINE_NUMBER] = number
        n = i + 1
        if s[2] < LOWEST_M:
            break
        line = card[number]
        if noticed < 0.0 and hands.reached(line, s, entry, air, omega_v, t - began):
            noticed = t
        if (noticed >= 0.0 and t - noticed >= line[11]) or t - began >= line[10]:
            number += 1
            if number >= card.shape[0]:
                break
            began, noticed = t, -1.0
            entry = s.copy()
            begun_from[:] = controls
            memory[:] = 0.0
            line = card[number]
        load = -fm[2] / p[MASS] / G0
        speed = max(10.0, math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2))
        hands.wanted(line, p, static, s, air, density(s[2]), load, down, t - began, begun_from, memory, STEP_S, asked)
        _drifts(tremor, _TREMOR_S, STEP_S, noise[i, 4:7])
        _move_hands(controls, asked, felt, tremor, tremor_size, lag, fastest, STEP_S)
        _air_moves(filters, gust, sigma, speed, STEP_S, noise[i], p[motion.SPAN])
        _drifts(shake, _SHAKE_S, STEP_S, noise[i, 7:10])
        motion.step(p, static, rotary, s, controls, gust, shake, STEP_S, k, trial, fm, air)
    return rows[:n]
