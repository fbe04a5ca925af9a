"""The pilot: a script of segments, each a control law and an end condition, as rows of plain numbers; compiled.

A row is [law, end, end value, longest s, a0 .. a11]. `Script` builds rows with names; `demand` and `finished` fly them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numba import njit

SEGMENT = 16
MEMORY = 12
# control laws
ATTITUDE, FIXED, PULL_UP_LEVEL, SLOW_DOWN, LOAD_AND_ROLL, RECOVERY, PULSES = range(1, 8)
# end conditions
END_NONE, TIME, TURNS, ALPHA_ABOVE, ROTATION_BELOW, PITCH_ABOVE, SPEED_ABOVE, ROLLED, CLIMBING, PITCH_BELOW = range(10)
ALPHA_BELOW, UNSTALLED_OR_STOPPED, TURNS_FLIGHT_PATH, SPEED_BELOW, HEADING_TURNED = range(10, 15)


@njit(cache=True)
def _pitch_bank(dx, dy, dz):
    return -math.asin(min(1.0, max(-1.0, dx))), math.atan2(dy, dz)


@njit(cache=True)
def finished(row, s, entry, since, air, omega_v, load, memory):  # noqa: C901  # a table of end conditions, one line each
    """Whether the segment's end condition is met (or its longest time is over)."""
    end, value = int(row[1]), row[2]
    if since >= row[3]:
        return True
    if since < 0.02:
        return False
    alpha = math.atan2(air[2], air[0])
    pitch = math.asin(min(1.0, max(-1.0, 2.0 * (s[6] * s[8] - s[7] * s[9]))))
    speed = math.sqrt(air[0] ** 2 + air[1] ** 2 + air[2] ** 2)
    if end == TURNS:
        return abs(s[14] - entry[14]) >= value
    if end == TURNS_FLIGHT_PATH:
        return abs(s[13] - entry[13]) >= value
    if end == ALPHA_ABOVE:
        return abs(alpha) > value
    if end == ALPHA_BELOW:
        return abs(alpha) < value
    if end == ROTATION_BELOW:
        return abs(omega_v) < value
    if end == UNSTALLED_OR_STOPPED:
        return abs(omega_v) < 0.15 or (abs(alpha) < value and abs(omega_v) < 0.8)
    if end == PITCH_ABOVE:
        return pitch > value
    if end == PITCH_BELOW:
        return pitch < value
    if end == SPEED_ABOVE:
        return speed > value
    if end == SPEED_BELOW:
        return speed < value
    if end == ROLLED:
        return abs(s[15] - entry[15]) >= value
    return False


@njit(cache=True)
def _attitude(row, s, air, dx, dy, dz, memory, out, dt):
    """a4 throttle, a5 pitch, a6 bank, rad."""
    pitch, bank = _pitch_bank(dx, dy, dz)
    beta = math.atan2(air[1], math.sqrt(air[0] ** 2 + air[2] ** 2))
    upright = math.cos(row[10])
    error = row[9] - pitch
    memory[0] = min(0.6, max(-0.6, memory[0] + 0.4 * error * dt))
    out[0] = (2.2 * error + memory[0]) * (1.0 if upright > 0 else -1.0) - 0.9 * (s[11])
    bank_error = math.atan2(math.sin(row[10] - bank), math.cos(row[10] - bank))
    out[1] = 1.4 * bank_error - 0.45 * s[10]
    out[2] = 2.0 * beta - 0.5 * (s[12] if abs(row[10]) < 0.2 else 0.0)


@njit(cache=True)
def _load_and_roll(row, s, air, load, memory, out, dt):
    """a5 load factor, a6 roll rate, a7 alpha limit (0: none)."""
    beta = math.atan2(air[1], math.sqrt(air[0] ** 2 + air[2] ** 2))
    alpha = math.atan2(air[2], air[0])
    error = row[9] - load
    memory[0] = min(1.2, max(-1.2, memory[0] + 0.5 * error * dt))
    out[0] = 0.12 * error + memory[0] - 0.35 * s[11]
    if row[11] > 0.0:
        out[0] -= 6.0 * max(0.0, alpha - row[11])
    roll_error = row[10] - s[10]
    memory[1] = min(1.2, max(-1.2, memory[1] + 0.9 * roll_error * dt))
    out[1] = 0.25 * roll_error + memory[1]
    out[2] = 2.0 * beta + 0.05 * out[1]


@njit(cache=True)
def _pull_up(row, s, air, load, dx, dy, dz, memory, out, dt):
    """a5 load factor, a7 alpha limit: roll the lift towards the sky, pull to the load."""
    across = math.sqrt(dy * dy + dz * dz)
    bank = math.atan2(dy, dz)
    beta = math.atan2(air[1], math.sqrt(air[0] ** 2 + air[2] ** 2))
    alpha = math.atan2(air[2], air[0])
    out[1] = min(1.0, max(-1.0, (-1.1 * bank) * min(1.0, across * 1.5) - 0.4 * s[10]))
    upright = 1.0 if abs(bank) < 1.2 or across < 0.25 else 0.35
    error = row[9] * upright - load
    memory[0] = min(1.0, max(-0.6, memory[0] + 0.55 * error * dt))
    out[0] = 0.1 * error + memory[0] - 0.3 * s[11] - 7.0 * max(0.0, alpha - row[11])
    out[2] = 1.5 * beta - 0.4 * s[12]


@njit(cache=True)
def demand(row, s, since, air, load, dx, dy, dz, memory, out, entry):
    """Wanted control positions (aft, right, pedal right, throttle) of this instant, each limited to full travel."""
    law = int(row[0])
    dt = 0.005
    out[3] = row[8]
    if law == ATTITUDE:
        _attitude(row, s, air, dx, dy, dz, memory, out, dt)
    elif law == SLOW_DOWN:
        _pitch, bank = _pitch_bank(dx, dy, dz)
        climb = -(dx * s[3] + dy * s[4] + dz * s[5])
        sign = 1.0 if math.cos(row[10]) > 0 else -1.0
        error = -climb - memory[1] * 0.0
        memory[0] = min(0.9, max(-0.9, memory[0] + 0.05 * error * dt))
        bank_error = math.atan2(math.sin(row[10] - bank), math.cos(row[10] - bank))
        out[0] = sign * (0.05 * error + memory[0]) - 1.0 * s[11]
        out[1] = 1.0 * bank_error - 0.5 * s[10]
        out[2] = 1.5 * math.atan2(air[1], air[0]) - 0.6 * s[12]
    elif law == FIXED:
        out[0], out[1], out[2] = row[5], row[6], row[7]
    elif law == LOAD_AND_ROLL:
        _load_and_roll(row, s, air, load, memory, out, dt)
    elif law == PULL_UP_LEVEL:
        _pull_up(row, s, air, load, dx, dy, dz, memory, out, dt)
    elif law == RECOVERY:
        # a1 aft before and a9 aft after the delay a8, a2 roll, a3 pedal
        out[0] = row[5] if since < row[12] else row[13]
        out[1], out[2] = row[6], row[7]
    elif law == PULSES:
        # stick held at a1; pedal and roll swing with amplitude a3, a2 and period a8: falling leaf
        phase = math.sin(2.0 * math.pi * since / row[12])
        out[0] = row[5]
        out[1] = row[6] * phase
        out[2] = row[7] * phase
    for j in range(3):
        out[j] = min(1.0, max(-1.0, out[j]))


@dataclass
class Script:
    """Segments in order; every method appends one and returns the script."""

    rows: list[list[float]] = field(default_factory=list)

    def add(self, law: int, end: int, value: float, longest_s: float, **a: float) -> Script:
        """a: aft, right, pedal, throttle, x1 .. x7 (laws give them meaning)."""
        row = [float(law), float(end), value, longest_s, 0.0]
        row += [a.get("aft", 0.0), a.get("right", 0.0), a.get("pedal", 0.0), a.get("throttle", 0.0)]
        row += [a.get(f"x{i}", 0.0) for i in range(1, 8)]
        self.rows.append(row)
        return self

    @property
    def array(self) -> np.ndarray:
        """float64, shape (segments, SEGMENT)."""
        return np.array(self.rows, dtype=np.float64)

    def attitude(self, seconds: float, pitch: float = 0.03, bank: float = 0.0, throttle: float = 0.45) -> Script:
        """Hold pitch and bank, rad."""
        return self.add(ATTITUDE, TIME, 0.0, seconds, throttle=throttle, x1=pitch, x2=bank)

    def slow_down(self, alpha: float, bank: float = 0.0, throttle: float = 0.0) -> Script:
        """Keep the height with idle power until |alpha| passes `alpha`, rad."""
        return self.add(SLOW_DOWN, ALPHA_ABOVE, alpha, 60.0, throttle=throttle, x2=bank)

    def hold(self, end: int, value: float, longest_s: float, **a: float) -> Script:
        """Controls fixed."""
        return self.add(FIXED, end, value, longest_s, **a)

    def anti_spin(self, end: int, value: float, longest_s: float, delay_s: float, after: float, **a: float) -> Script:
        """Recovery controls: pedal at once, stick from `aft` to `after` (aft positive) once the delay is over."""
        return self.add(RECOVERY, end, value, longest_s, x4=delay_s, x5=after, **a)

    def pull_out(self, load: float, alpha_limit: float, end: int = PITCH_ABOVE, value: float = 0.02) -> Script:
        """Wings level and pull until the nose passes `value`, rad."""
        return self.add(PULL_UP_LEVEL, end, value, 25.0, throttle=0.15, x1=load, x3=alpha_limit)

    def roll_inverted(self, d: int, hold_s: float, throttle: float = 0.5) -> Script:
        """From upright: half a roll, then hold inverted level flight."""
        self.attitude(3.0, throttle=throttle)
        self.load_and_roll(ROLLED, math.pi * 0.94, 5.0, 0.4, 1.2 * d, throttle=throttle, x3=0.2)
        return self.attitude(hold_s, pitch=0.14, bank=math.pi, throttle=throttle)

    def load_and_roll(self, end: int, value: float, longest_s: float, load: float, roll: float, **a: float) -> Script:
        """Hold a load factor and a roll rate (rad/s)."""
        return self.add(LOAD_AND_ROLL, end, value, longest_s, x1=load, x2=roll, **a)
