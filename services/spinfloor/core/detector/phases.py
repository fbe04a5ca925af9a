"""The phase machine: what the aircraft is doing, in a spin and outside one. Method: docs/method/phases.md."""

import math
from typing import Any

from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.emission import CODE_PHASE, P_EVIDENCE, emit

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
    """Change the phase, dated `when` but not before the one it follows, and say so."""
    if m.phase == phase:
        return
    when = max(when, m.phase_since_ns)
    slot = emit(ints, floats, cursor, CODE_PHASE, when, t)
    floats[slot, 0] = m.phase
    floats[slot, 1] = phase
    floats[slot, P_EVIDENCE] = m.evidence
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


@inner
def _circling(s: Any) -> bool:
    """By the rates the turn is flown with the elevator, as a spiral is: too much pitching for a spin."""
    return bool(abs(s.slow_q) > tu.PITCH_SHARE_RATES * math.sqrt(s.slow_p**2 + s.slow_r**2))


@hot
def _departing(s: Any, measured: bool, stalled: bool) -> bool:
    """Stalled and turning, or what may become a spin; by the rates alone a dive after a spin needs more of it."""
    if measured:
        rate = math.sqrt(s.mean_p**2 + s.mean_r**2)
        return bool(s.chain != 0 or (stalled and rate > tu.START_ROTATION_RADPS))
    if s.chain == 0 or _circling(s):
        return False
    return bool(s.dive == 0 or s.chain * (s.turned_v - s.chain_v) > 0.5 * tu.KNOWN_VERTICAL_DIVE_RAD)


@inner
def _rolls(s: Any) -> bool:
    """Rotation that is nearly all roll."""
    return bool(abs(s.wf_fast) > 40.0 * _DEG and abs(s.mean_p) > 2.0 * abs(s.mean_q))


@inner
def _level_unseen(s: Any) -> bool:
    """The dive is over by the gyros, in steady straight flight, and no altitude tells where it levelled."""
    blind_s = (s.last_ns - max(s.alt_ns, s.last_end_ns)) * 1e-9
    return bool(blind_s > tu.BLIND_DIVE_S and s.calm_s > tu.CALM_S)


@hot
def _outside(s: Any, measured: bool, stalled: bool) -> int:
    if abs(s.pitch_turned) > 0.6 * _TURN and abs(s.mean_q) > 45.0 * _DEG:
        return TUMBLE
    if _departing(s, measured, stalled):
        return DEPARTURE
    rolls = _rolls(s)
    if rolls and s.roll_turned > 0.5 * _TURN:
        return ROLLING
    if s.dive == 1 and not _level_unseen(s):
        return DIVE
    flies = not stalled if measured else not stalled or _circling(s)
    turns = abs(s.wv_fast) > tu.SPIRAL_RADPS and abs(s.spiral_turned) > tu.SPIRAL_TURNED_RAD
    if flies and turns and s.sink > tu.SPIRAL_SINK_MPS and not rolls:
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
    circle = 0.0 if _rolls(s) else s.wv * dt
    s.spiral_turned = s.spiral_turned * (1.0 - min(dt / 20.0, 1.0)) + circle
    phase = _outside(s, measured, stalled)
    if phase != s.next_phase:
        s.next_phase = phase
        begun = phase == DEPARTURE and s.chain != 0 and t - s.chain_ns < 500_000_000
        s.next_ns = s.chain_ns if begun else t
        if phase == FLIGHT and m.level_now == 1:
            s.next_ns = m.level_ns
    if phase == m.phase:
        return
    wait = 0.3
    if phase == FLIGHT:
        wait = 0.8
    elif phase == DIVE or m.phase == UNKNOWN:
        wait = 0.0
    if (t - s.next_ns) * 1e-9 >= wait:
        set_phase(s, m, phase, s.next_ns, t, ints, floats, cursor)
