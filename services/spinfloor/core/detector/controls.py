"""Recovery controls: the first movement against the spin, from control telemetry, a mark, or inferred and labelled so.

Controls are fractions of full travel in the pilot's sense. Method: docs/method/recovery-controls.md.
"""

import math
from typing import Any

from spinfloor.core import channels as ch
from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.chain import nose_to_down
from spinfloor.core.detector.emission import CODE_RECOVERY_STARTED, emit
from spinfloor.core.detector.states import PEDAL, STICK

_TURN = 2.0 * math.pi
SOURCE_CONTROLS = 1
SOURCE_MARK = 2
SOURCE_INFERRED = 3


@inner
def start_recovery(
    s: Any, m: Any, t: int, when: int, f: float, height: float, source: int, ints: Any, floats: Any, cursor: Any
) -> None:
    """Fix the beginning of the recovery and say so; only the first one of a spin counts."""
    m.recovery_started = 1
    m.recovery_started_now = 1
    m.recovery_source = source
    m.recovery_start_ns = max(when, m.spin_start_ns)
    m.recovery_start_turns = max(m.sense_from_above * (f - s.spin_f), 0.0) / _TURN
    m.recovery_start_altitude_m = height
    m.rotation_at_recovery_radps = max(abs(s.wf_turn), 0.05)
    slot = emit(ints, floats, cursor, CODE_RECOVERY_STARTED, m.recovery_start_ns, t)
    floats[slot, 0] = m.recovery_start_turns
    floats[slot, 1] = height
    floats[slot, 2] = source
    floats[slot, 3] = m.turns_sd
    floats[slot, 4] = m.altitude_sd_m
    floats[slot, 5] = m.evidence
    floats[slot, 6] = m.rotation_at_recovery_radps


@hot
def _hold(held: float, value: float, dt: float) -> float:
    return float(held + dt / (tu.CONTROL_HOLD_S + dt) * (value - held))


@inner
def _count_telemetry(s: Any, pedal: float, stick: float, t: int, dt: float) -> None:
    """Seconds of control telemetry, leaky: as long without it and it no longer counts as there."""
    if pedal == pedal or stick == stick:
        s.controls_ns = t
    lately = s.controls_ns > 0 and t - s.controls_ns < tu.CONTROLS_HOLD_NS
    s.controls_s = min(max(s.controls_s + (dt if lately else -dt), 0.0), 2.0 * tu.CONTROLS_SEEN_S)


@inner
def told(s: Any) -> bool:
    """Control telemetry is there: the beginning of a recovery is seen, not inferred."""
    return bool(s.controls_s > tu.CONTROLS_SEEN_S)


@inner
def _stays(since_ns: int, count: int, t: int) -> bool:
    """The movement has stayed long enough, and on enough values, to be no fault of the telemetry."""
    return bool(count >= tu.CONTROL_STAYS and (t - since_ns) * 1e-9 >= tu.CONTROL_STAYS_S)


@inner
def _moves(s: Any, control: int, against: float, value: float, counts: bool, t: int, dt: float, alt: float) -> bool:
    """Follow one control at `value`, which has gone `against` its held place the recovery's way; True: it has moved.

    From any held place: spins against the pedal are recovered by a further movement. counts: it may count by itself.
    """
    if against < tu.CONTROL_LEFT:
        s.move_ns[control] = s.far[control] = 0
        s.hold[control] = _hold(s.hold[control], value, dt)
        return False
    if s.move_ns[control] == 0:
        s.move_ns[control], s.move_f[control], s.move_alt[control] = t, s.last_f, alt
    if against <= tu.CONTROL_MOVED or not counts:
        s.far[control] = 0
        if (t - s.move_ns[control]) * 1e-9 > tu.CONTROL_EASED_S:
            s.hold[control], s.move_ns[control] = value, 0
        return False
    if s.far[control] == 0:
        s.far_ns[control] = t
    s.far[control] += 1
    return _stays(s.far_ns[control], s.far[control], t)


@inner
def _either_moves(s: Any, m: Any, pedal: float, stick: float, t: int, dt: float, alt: float) -> bool:
    """Pedal against the yaw, or stick to un-stall (forward upright, aft inverted), alone only where it comes near neutral."""
    moved = False
    if pedal == pedal:
        moved = _moves(s, PEDAL, -(pedal - s.hold[PEDAL]) * m.direction, pedal, True, t, dt, alt)
    if stick == stick:
        counts = s.far[PEDAL] > 0 or stick * m.orientation <= tu.STICK_ALONE
        moved = _moves(s, STICK, -(stick - s.hold[STICK]) * m.orientation, stick, counts, t, dt, alt) or moved
    return moved


@hot
def follow_controls(s: Any, clean: Any, t: int, dt: float) -> None:
    """Outside a spin only remember where the controls are held."""
    pedal, stick = clean[ch.PEDAL_RIGHT], clean[ch.STICK_AFT]
    _count_telemetry(s, pedal, stick, t, dt)
    if pedal == pedal:
        s.hold[PEDAL] = _hold(s.hold[PEDAL], pedal, dt)
    if stick == stick:
        s.hold[STICK] = _hold(s.hold[STICK], stick, dt)
    s.move_ns[:] = 0
    s.far[:] = 0
    s.back_s = 0.0


@inner
def _watch_taken_back(s: Any, m: Any, dt: float) -> None:
    """The controls are back where they were held, or never left it after a mark, and the rotation goes on whole.

    The recovery was given up, or the mark was a slip: *recover* is due again.
    """
    marked = m.recovery_source == SOURCE_MARK and told(s)
    back = (m.recovery_source == SOURCE_CONTROLS or marked) and s.far[PEDAL] == 0 and s.far[STICK] == 0
    whole = abs(s.wf_fast) > tu.WHOLE_ROTATION * m.rotation_at_recovery_radps
    s.back_s = s.back_s + dt if back and whole else 0.0
    if s.back_s > (tu.MARK_ALONE_S if marked else tu.TAKEN_BACK_S):
        s.back_s = 0.0
        m.recovery_started = m.recovery_source = 0
        m.recovery_start_ns = 0
        m.recovery_start_turns = m.recovery_start_altitude_m = m.rotation_at_recovery_radps = math.nan


@inner
def watch_controls(
    s: Any, m: Any, clean: Any, t: int, dt: float, alt: float, ints: Any, floats: Any, cursor: Any
) -> None:
    """In a spin without recovery yet: look for its beginning."""
    pedal, stick = clean[ch.PEDAL_RIGHT], clean[ch.STICK_AFT]
    _count_telemetry(s, pedal, stick, t, dt)
    moved = _either_moves(s, m, pedal, stick, t, dt, alt)
    if m.recovery_started == 1:
        _watch_taken_back(s, m, dt)
        return
    if s.mark_ns > 0:
        back = (t - s.mark_ns) * 1e-9
        s.mark_ns = 0
        if -1.0 < back < 10.0 and t - int(back * 1e9) >= m.spin_start_ns:  # else it was for the spin before
            f = s.turned_f - back * s.wf_turn
            start_recovery(s, m, t, t - int(back * 1e9), f, alt + back * s.sink, SOURCE_MARK, ints, floats, cursor)
            return
    if moved:
        pedal_first = s.move_ns[PEDAL] > 0 and (s.move_ns[STICK] == 0 or s.move_ns[PEDAL] <= s.move_ns[STICK])
        first = PEDAL if pedal_first else STICK
        when, f, height = s.move_ns[first], s.move_f[first], s.move_alt[first]
        start_recovery(s, m, t, when, f, height, SOURCE_CONTROLS, ints, floats, cursor)


@inner
def watch_rotation(s: Any, m: Any, t: int, alt: float) -> None:
    """Without control telemetry: remember when the rotation, and the nose's angle to down, last stood near their turn means."""
    if m.recovery_started == 1 or told(s):
        return
    if abs(s.wf_fast) > tu.WHOLE_ROTATION * abs(s.wf_turn) and not _nose_falls(s, m):
        s.near_ns, s.near_f, s.near_alt = t, s.turned_f, alt


@inner
def _nose_falls(s: Any, m: Any) -> bool:
    """The nose stands much nearer to the carried down than alpha was over the turn: the wing is being un-stalled."""
    return bool(nose_to_down(s, m.orientation) < tu.NOSE_FALLS * abs(s.alpha_turn))


@inner
def infer_recovery(
    s: Any, m: Any, t: int, end_ns: int, end_f: float, height: float, ints: Any, floats: Any, cursor: Any
) -> None:
    """The spin has ended and nobody told of controls: they went in when the rotation last was whole, within the last turn.

    Only now, never on a slowing rotation alone: a falter taken for a recovery would silence the recover call.
    """
    if m.recovery_started == 1 or told(s):
        return
    rate = m.sense_from_above * max(abs(s.wf_turn), 0.3)
    least = tu.CONTROLS_BEFORE_END_S
    most = max(_TURN / abs(rate), least)
    before = (end_ns - s.near_ns) * 1e-9
    when, f, alt = s.near_ns, s.near_f, s.near_alt
    if s.near_ns == 0 or before < least or before > most:
        before = most if before > most else least
        when, f, alt = end_ns - int(before * 1e9), end_f - before * rate, height + before * s.sink
    start_recovery(s, m, t, when, f, alt, SOURCE_INFERRED, ints, floats, cursor)
