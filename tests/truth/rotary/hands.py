"""The pilot's hands: each axis of a line on the card does its own thing until the line's end is noticed; compiled.

Axes: stick fore and aft, stick sideways, pedals. Each may move to a position and stay, or hold something (pitch, load,
alpha, climb; bank, roll rate, wings level; the ball). Hands are late, sluggish and unsteady by the line's numbers.
"""

import math

from numba import njit
from tests.truth.rotary.card import (
    ALPHA,
    ALPHA_ABOVE,
    ALPHA_BELOW,
    BALL,
    BANK,
    CLIMB,
    FLYING,
    LEVEL,
    PITCH,
    PITCH_ABOVE,
    PITCH_BELOW,
    POSITION,
    ROLL_RATE,
    ROLLED,
    ROTATION_BELOW,
    SPEED_ABOVE,
    SPEED_BELOW,
    TIME,
    TURNS,
    TURNS_PATH,
)  # fmt: skip
from tests.truth.rotary.motion import AREA, CHORD, G0, MASS, SPAN, along
from tests.truth.rotary.shape import FIELD as _F
from tests.truth.rotary.tables import COLUMN as _C

SLOPE, ZERO, MARGIN, TRIM, ELEVATOR, AILERON, ROLL_DAMPING, PITCH_DAMPING = (
    _F[n]
    for n in ("lift_slope", "zero_lift_rad", "static_margin", "trim_rad", "elevator", "aileron", "roll_damping", "pitch_damping")
)  # fmt: skip
_AILERON = _C["aileron"]
MEMORY = 8


@njit(cache=True)
def reached(row, s, entry, air, omega_v, since):
    """Whether the line's end condition holds now."""
    end, value = int(row[8]), row[9]
    alpha = math.atan2(air[2], air[0])
    speed = math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2)
    pitch = math.asin(min(1.0, max(-1.0, 2.0 * (s[6] * s[8] - s[7] * s[9]))))
    if end == TIME:
        return since >= value
    if end == TURNS:
        return abs(s[14] - entry[14]) >= value
    if end == TURNS_PATH:
        return abs(s[13] - entry[13]) >= value
    if end == ROLLED:
        return abs(s[15] - entry[15]) >= value
    if end == ALPHA_ABOVE:
        return abs(alpha) > value
    if end == ALPHA_BELOW:
        return abs(alpha) < value
    return _attitude_or_speed(end, value, pitch, speed) or _over(end, value, omega_v, alpha)


@njit(cache=True)
def _attitude_or_speed(end, value, pitch, speed):
    return (
        (end == PITCH_ABOVE and pitch > value)
        or (end == PITCH_BELOW and pitch < value)
        or (end == SPEED_ABOVE and speed > value)
        or (end == SPEED_BELOW and speed < value)
    )


@njit(cache=True)
def _over(end, value, omega_v, alpha):
    if end == ROTATION_BELOW:
        return abs(omega_v) < value
    return end == FLYING and (abs(omega_v) < 0.2 or (abs(alpha) < value and abs(omega_v) < 1.0))


@njit(cache=True)
def _wanted_load(mode, value, s, dx, dy, dz, speed):
    """Load factor and pitch rate that the held thing asks for."""
    pitch = -math.asin(min(1.0, max(-1.0, dx)))
    bank_cos = math.cos(math.atan2(dy, dz))
    lean = bank_cos if abs(bank_cos) > 0.2 else (0.2 if bank_cos >= 0 else -0.2)
    if mode == PITCH:
        rate = min(0.4, max(-0.4, 0.9 * (value - pitch)))
        return min(5.0, max(-2.5, (math.cos(pitch) + speed / G0 * rate) / lean))
    if mode == CLIMB:
        return min(4.0, max(-2.0, (1.0 + 0.06 * (value + s[5])) / lean))
    return value


@njit(cache=True)
def fore_and_aft(row, p, s, air, rho, load, down, memory, dt):
    """Stick aft for pitch, load, alpha or climb."""
    mode, value, cap = int(row[0]), row[1], row[13]
    speed = math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2) + 0.1
    alpha = math.atan2(air[2], air[0])
    pressure = 0.5 * rho * speed * speed
    wanted = value
    if mode != ALPHA:
        asked = _wanted_load(mode, value, s, down[0], down[1], down[2], speed)
        wanted = p[ZERO] + asked * p[MASS] * G0 / (pressure * p[AREA] * p[SLOPE])
    wanted = min(cap, max(-cap, wanted))
    error = wanted - alpha
    memory[0] = min(0.8, max(-0.8, memory[0] + 2.0 * error * dt))
    trim = p[SLOPE] * p[MARGIN] * (wanted - p[TRIM]) / p[ELEVATOR]
    turning = G0 / speed * (load - down[2])
    return (
        trim
        + memory[0]
        + 0.8 * error
        + (p[PITCH_DAMPING] * p[CHORD] / (2 * speed) * turning) / p[ELEVATOR]
        - 0.25 * (s[11] - turning)
    )


@njit(cache=True)
def sideways(row, p, static, s, air, down):
    """Stick right for bank, roll rate or wings level."""
    mode, value = int(row[2]), row[3]
    bank = math.atan2(down[1], down[2])
    speed = math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2) + 0.1
    rate = value
    if mode == BANK:
        rate = min(1.6, max(-1.6, 1.6 * math.atan2(math.sin(value - bank), math.cos(value - bank))))
    elif mode == LEVEL:
        rate = -1.5 * bank * min(1.0, 1.5 * math.sqrt(down[1] ** 2 + down[2] ** 2))
    effect = max(along(static, math.atan2(air[2], air[0]), _AILERON), 0.3 * p[AILERON])
    needed = p[ROLL_DAMPING] * p[SPAN] / (2 * speed) / effect
    return needed * (rate + 0.6 * (rate - s[10]))


@njit(cache=True)
def feet(row, s, air, down):
    """Pedal right to keep the ball in the middle."""
    speed = math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2) + 0.1
    turn = G0 / speed * down[1]
    return 2.0 * math.asin(min(1.0, max(-1.0, air[1] / speed))) + 0.2 * min(1.0, max(-1.0, turn - s[12]))


@njit(cache=True)
def wanted(row, p, static, s, air, rho, load, down, since, from_, memory, dt, out):
    """Control positions the line asks for at this instant, within full travel."""
    part = min(1.0, since / max(row[7], dt))
    swing = math.sin(2.0 * math.pi * since / row[14]) if row[14] > 0.0 else 0.0
    held = int(row[0]) != POSITION
    out[0] = (
        fore_and_aft(row, p, s, air, rho, load, down, memory, dt) if held else from_[0] + part * (row[1] - from_[0])
    )
    if int(row[2]) in (BANK, ROLL_RATE, LEVEL):
        out[1] = sideways(row, p, static, s, air, down)
    else:
        out[1] = from_[1] + part * (row[3] - from_[1])
    if int(row[4]) == BALL:
        out[2] = feet(row, s, air, down)
    else:
        out[2] = from_[2] + part * (row[5] - from_[2])
    for j in range(3):
        out[j] = min(1.0, max(-1.0, out[j] + row[15 + j] * swing))
    out[3] = row[6]
