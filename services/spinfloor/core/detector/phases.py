"""The phase machine: what the aircraft is doing, in a spin and outside one. Method: docs/method/phases.md."""

import math
from typing import Any

from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.emission import CODE_PHASE, emit

# Indices into events.PHASES.
UNKNOWN = 0
FLIGHT = 1
DEPARTURE = 2
INCIPIENT = 3
DEVELOPED = 4
RECOVERING = 5
DIVE = 6
SPIRAL = 7
ROLLING = 8
TUMBLE = 9

_DEG = math.pi / 180.0
_TURN = 2.0 * math.pi


@inner
def set_phase(s: Any, m: Any, phase: int, when: int, t: int, ints: Any, floats: Any, cursor: Any) -> None:
    """Change the phase, dated `when`, and say so."""
    if m.phase == phase:
        return
    slot = emit(ints, floats, cursor, CODE_PHASE, when, t)
    floats[slot, 0] = m.phase
    floats[slot, 1] = phase
    m.phase = phase
    m.phase_since_ns = when
    s.next_phase = phase


@inner
def spin_phase(s: Any, m: Any, t: int, ints: Any, floats: Any, cursor: Any) -> None:
    """Incipient, developed or recovering."""
    if m.recovery_started == 1:
        set_phase(s, m, RECOVERING, m.recovery_start_ns, t, ints, floats, cursor)
    elif m.phase != DEVELOPED and _settled(s, m):
        set_phase(s, m, DEVELOPED, s.turn_ns, t, ints, floats, cursor)
    elif m.phase < INCIPIENT or m.phase > RECOVERING:
        set_phase(s, m, INCIPIENT, m.spin_start_ns, t, ints, floats, cursor)


@inner
def _settled(s: Any, m: Any) -> bool:
    """Two whole turns of nearly the same period, or four turns whatever they do."""
    if s.turns_said >= 4:
        return True
    if s.turns_said < 2 or s.last_period != s.last_period:
        return False
    return bool(abs(m.turn_period_s - s.last_period) < 0.2 * s.last_period)


@hot
def _outside(s: Any, m: Any, measured: bool, stalled: bool) -> int:
    rate_f = abs(s.wf_fast)
    if abs(s.pitch_turned) > 0.6 * _TURN and abs(s.mean_q) > 45.0 * _DEG:
        return TUMBLE
    if s.chain != 0:
        return DEPARTURE
    if stalled and measured and math.sqrt(s.mean_p**2 + s.mean_r**2) + abs(s.mean_q) > 30.0 * _DEG:
        return DEPARTURE
    if rate_f > 40.0 * _DEG and abs(s.mean_p) > 2.0 * abs(s.mean_q) and s.roll_turned > 0.5 * _TURN:
        return ROLLING
    if s.dive == 1:
        return DIVE
    if abs(s.wv_fast) > 12.0 * _DEG and s.sink > 8.0 and not stalled and abs(s.spiral_turned) > 0.4 * _TURN:
        return SPIRAL
    return FLIGHT


@hot
def outside_phase(
    s: Any, m: Any, t: int, dt: float, measured: bool, stalled: bool, ints: Any, floats: Any, cursor: Any
) -> None:
    """Phases outside a spin, each confirmed for a time before it is said."""
    forget = math.exp(-dt / 3.0) if dt > 0.1 else 1.0 - dt / 3.0
    s.roll_turned = s.roll_turned * forget + abs(s.wf) * dt
    s.pitch_turned = s.pitch_turned * forget + s.q * dt
    s.spiral_turned = s.spiral_turned * (1.0 - min(dt / 20.0, 1.0)) + s.wv * dt
    phase = _outside(s, m, measured, stalled)
    if phase != s.next_phase:
        s.next_phase, s.next_ns = phase, t
    if phase == m.phase:
        return
    wait = 0.3
    if phase == FLIGHT:
        wait = 0.8
    elif phase == DIVE or m.phase == UNKNOWN:
        wait = 0.0
    if (t - s.next_ns) * 1e-9 >= wait:
        set_phase(s, m, phase, s.next_ns, t, ints, floats, cursor)


@hot
def watch_level(s: Any, m: Any, t: int, alt: float) -> None:
    """After a spin: level flight is the lowest point, once the aircraft has climbed from it or stays there."""
    if s.dive == 0:
        return
    if alt < s.low_alt:
        s.low_alt, s.low_ns = alt, t
    climbed = alt - s.low_alt > tu.LEVEL_CLIMB_M
    resting = (t - s.low_ns) * 1e-9 > 1.5 and abs(s.alt_rate) < 2.0
    if climbed or resting:
        s.dive = 0
        m.level_now = 1
        m.level_ns = s.low_ns
        m.level_altitude_m = s.low_alt
