"""The compiled kernel: one function over plain records, called with one frame or a million, and its tick.

`run_frames` takes frames first..last of a block and returns how many it took; it stops early when the event buffers
are nearly full, so that the driver can drain them. Everything it remembers is in the arrays passed to it.
"""

import math
from typing import Any

from spinfloor.core import channels as ch
from spinfloor.core.compiled import entry, hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.air import grow_uncertainty, sideslip_measured, step_air
from spinfloor.core.detector.altitude import step_airspeed, step_altitude, step_sink
from spinfloor.core.detector.carrying import (
    carried_altitude,
    carried_altitude_sd,
    carried_rotation,
    carried_sink,
    carried_turn_sd,
    carry_turns,
    really_flown,
    sink_ahead,
    vertical_share,
)
from spinfloor.core.detector.chain import is_spin, stalled_side, step_chain
from spinfloor.core.detector.clock import admit
from spinfloor.core.detector.controls import follow_controls, watch_controls, watch_rotation
from spinfloor.core.detector.emission import CODE_LINK, SLOTS_PER_STEP, emit
from spinfloor.core.detector.ending import watch_end
from spinfloor.core.detector.level import watch_level
from spinfloor.core.detector.phases import DIVE, outside_phase, set_phase, spin_phase
from spinfloor.core.detector.rates import (
    calm_reference,
    carry_down,
    carry_flow,
    dead,
    down_by_rotation,
    set_down,
    step_attitude,
    step_rates,
)
from spinfloor.core.detector.screening import clipped_now, earn, retire, screen_row
from spinfloor.core.detector.spin import begin_spin, count_turns, watch_mode, watch_power
from spinfloor.core.detector.states import INCONSISTENT
from spinfloor.core.recovery.decision import decide

_TURN = 2.0 * math.pi
_LOOK_NS = 150_000_000  # without altitude, flags and uncertainty are looked at this often


@hot
def _clear_pulses(m: Any) -> None:
    m.spin_ended_now = 0
    m.recovery_started_now = 0
    m.level_now = 0
    m.reversed_now = 0
    m.restarted_now = 0
    m.turned_inverted_now = 0
    m.data_lost_now = 0
    m.data_restored_now = 0


@inner
def _first_frame(s: Any, t: int, clean: Any, channels: Any) -> None:
    s.started = 1
    for c in range(ch.PRESSURE_ALTITUDE + 1):  # the required ones are missed although they never came
        if channels[c].good_ns == 0:
            channels[c].good_ns = t
    s.origin_ns = s.last_ns = s.now_ns = s.barrier_ns = s.joined_ns = t
    p, q, r = clean[ch.ROLL_RATE], clean[ch.PITCH_RATE], clean[ch.YAW_RATE]
    if p == p and q == q and r == r:
        s.p = s.mean_p = s.slow_p = p
        s.q = s.mean_q = s.slow_q = q
        s.r = s.mean_r = s.slow_r = r
        s.rates_ns = t
    set_down(s, -math.sin(tu.CRUISE_PITCH_RAD), 0.0, math.cos(tu.CRUISE_PITCH_RAD))
    s.down_sd = 0.3
    s.nose_sd = 0.15
    down_by_rotation(s, p, q, r)


@hot
def _motion_of_frame(
    s: Any, m: Any, clean: Any, channels: Any, flags: Any, ring: Any, settings: Any, work: Any, t: int, dt: float
) -> tuple[bool, bool, bool]:
    """Rates, attitude, air data, integrals and altitude of one frame: (rates real, alpha measured, bin closed)."""
    turn, axis, fix, clipped = work[0], work[1], work[2], work[3]
    real = step_rates(s, clean, channels, t, dt, turn)
    any_clipped = 0.0
    for c in range(3):
        clipped[c] = 1.0 if clipped_now(flags, c, t) else 0.0
        any_clipped += clipped[c]
    carry_down(s, turn, dt)
    attitude = step_attitude(s, clean, t, real, clipped, fix)
    if attitude:
        for c in range(3):
            turn[c] += fix[c]
    carry_flow(s, turn, dt, m.in_spin == 1)
    if not attitude and (any_clipped > 0.0 or dead(s, t)):
        s.clip_f += 1
    calm_reference(s, dt)
    s.pegged = 0
    for c in (ch.ALPHA, ch.BETA):
        if clipped_now(flags, c, t):
            s.pegged += 2 if c == ch.ALPHA else 1
    measured = step_air(s, clean, t, dt, turn, axis, m.in_spin == 1)
    both_vanes = measured and s.pegged == 0 and sideslip_measured(s, t)
    grow_uncertainty(s, turn, dt, real or attitude, both_vanes)
    s.has_attitude = 1 if attitude else 0
    closed = step_altitude(s, clean, ring, t)
    return real, measured, closed


@hot
def _face(s: Any, m: Any, settings: Any, clean: Any, t: int, last_t: int, measured: bool, alt: float) -> None:
    """Refresh the fields of the motion record that change on every frame."""
    m.time_ns = t
    m.frame_ns = t
    m.altitude_m = alt
    m.sink_mps, m.sink_sd_mps = s.sink, s.sink_sd
    m.alpha_rad = s.alpha_turn if measured or abs(s.wf_turn) > 0.3 else math.nan
    m.rotation_radps = abs(s.wf_fast)
    if s.has_attitude == 1:
        m.evidence = 2 if measured else 1
    else:
        m.evidence = 3 if measured else 0
    m.estimated = 0
    cas = clean[ch.CALIBRATED_AIRSPEED]
    tas = cas * s.tas_ratio if cas == cas else math.nan
    m.true_airspeed_mps = tas
    if m.in_spin == 1:
        _face_in_spin(s, m)


@inner
def _turns_sd(s: Any, carried_sd: float) -> float:
    """Standard uncertainty of the turns so far [turns]: the integral, the start, two beginnings, and what is carried on."""
    start = min(abs(s.wf_turn), tu.ENTRY_ROTATION_RADPS) * s.start_sd_s * 0.6
    other = tu.DOUBT_SHARE * s.spin_doubt
    variance = max(s.unsure - s.spin_unsure, 0.0) + start * start + other * other + carried_sd * carried_sd
    return math.sqrt(variance) / _TURN


@inner
def _face_in_spin(s: Any, m: Any) -> None:
    sense = m.sense_from_above
    m.turns = max(sense * (s.turned_f - s.spin_f), 0.0) / _TURN
    m.turns_about_vertical = sense * (s.turned_v - s.spin_v) / _TURN
    m.turns_sd = _turns_sd(s, 0.0)
    m.turns_lower_bound = 1 if s.clip_f - s.spin_clip > 2 else 0
    if m.turn_period_s != m.turn_period_s and abs(s.wf_turn) > 0.3:
        m.turn_period_s = _TURN / abs(s.wf_turn)


@hot
def _spin_or_not(
    s: Any,
    m: Any,
    clean: Any,
    settings: Any,
    axis: Any,
    ring: Any,
    t: int,
    last_t: int,
    dt: float,
    measured: bool,
    alt: float,
    ints: Any,
    floats: Any,
    cursor: Any,
) -> None:
    """The spin logic of one frame."""
    step_chain(s, settings, t, last_t, measured, axis, alt)
    if m.in_spin == 0:
        follow_controls(s, clean, t, dt)
        watch_level(s, m, settings, ring, t)
        if is_spin(s, settings, t, measured):
            begin_spin(s, m, t, measured, alt, ints, floats, cursor)
            m.turn_period_s = math.nan
            _face_in_spin(s, m)
        else:
            side = stalled_side(s, settings, measured)
            outside_phase(s, m, t, dt, measured, side != 0, ints, floats, cursor)
            return
    watch_controls(s, m, clean, t, dt, alt, ints, floats, cursor)
    count_turns(s, m, settings, t, last_t, alt, ints, floats, cursor)
    watch_mode(s, m, t, dt, ints, floats, cursor)
    watch_power(s, m, clean, settings, dt)
    spin_phase(s, m, t, ints, floats, cursor)
    watch_rotation(s, m, t, alt)
    watch_end(s, m, settings, t, last_t, measured, alt, ints, floats, cursor)
    if m.in_spin == 0:
        spin_phase(s, m, t, ints, floats, cursor)  # a recovery inferred only now
        set_phase(s, m, DIVE, m.spin_end_ns, t, ints, floats, cursor)


@hot
def _link_back(s: Any, m: Any, t: int, ints: Any, floats: Any, cursor: Any) -> None:
    if s.lost == 1:
        s.lost = 0
        m.data_restored_now = 1
        slot = emit(ints, floats, cursor, CODE_LINK, t, t)
        floats[slot, 0] = 0.0
        floats[slot, 1] = (t - s.lost_ns) * 1e-9


@inner
def _long_gap(s: Any, m: Any, row: Any, t: int, dt: float) -> None:
    """The clock was set forward, or nothing came for so long that the rates at its two ends say nothing of it."""
    s.rates_ns = 0
    if m.in_spin == 1 and really_flown(s, row, t, dt):
        carry_turns(s, m.sense_from_above, row, dt)
        return
    s.clip_f += 3  # turns flown meanwhile are not known: what is counted is a lower bound
    s.unsure += 0.25
    s.joined_ns = t
    if m.in_spin == 0:
        down_by_rotation(s, row[ch.ROLL_RATE], row[ch.PITCH_RATE], row[ch.YAW_RATE])


@hot
def step_frame(
    t: int,
    row: Any,
    clean: Any,
    work: Any,
    settings: Any,
    m: Any,
    s: Any,
    channels: Any,
    flags: Any,
    ring: Any,
    ints: Any,
    floats: Any,
    cursor: Any,
) -> bool:
    """Take one frame; True when it was taken in (not a duplicate, not out of order)."""
    if not admit(s, m, t, row, flags, ints, floats, cursor):
        return False
    _clear_pulses(m)
    last_t = s.last_ns if s.started == 1 else t
    dt = (t - last_t) * 1e-9
    if dt > tu.CLOCK_SET_S:
        _long_gap(s, m, row, t, dt)
        dt = s.frame_dt
    turning = abs(s.mean_p) + abs(s.mean_q) + abs(s.mean_r)
    falling = abs(s.alt_rate) > tu.FALLING_MPS
    screen_row(row, clean, t, channels, flags, turning, falling, ints, floats, cursor)
    if s.started == 0:
        _first_frame(s, t, clean, channels)
    _link_back(s, m, t, ints, floats, cursor)
    s.frames += 1
    s.frame_dt += (0.05 if dt < 0.5 else 0.0) * (dt - s.frame_dt)
    _, measured, closed = _motion_of_frame(s, m, clean, channels, flags, ring, settings, work, t, dt)
    if s.att_bad == 1:
        earn(flags, ch.ROLL, INCONSISTENT, t, ints, floats, cursor)
    if closed:
        flown = abs(s.turned_f - s.spin_f) / _TURN if m.in_spin == 1 else 0.0  # not m.turns, which ticks carry on
        step_sink(s, ring, m.turn_period_s if m.in_spin == 1 else math.nan, flown)
        step_airspeed(s, clean)
    age = (t - s.alt_ns) * 1e-9 if s.alt_ns > 0 else 0.0
    if closed or abs(t - s.looked_ns) > _LOOK_NS:
        s.looked_ns = t
        m.altitude_sd_m = carried_altitude_sd(s, m, settings, age)
        m.degraded = retire(flags, t, ints, floats, cursor)
        m.sink_ahead_mps = sink_ahead(s, m, settings, age)
    alt = carried_altitude(s, m, settings, age)
    s.last_ns = s.now_ns = t
    _face(s, m, settings, clean, t, last_t, measured, alt)
    if age > max(settings.data_age_limit_s, 2.0 * s.alt_every_s):
        m.estimated = 1
        m.sink_mps = carried_sink(s, m, settings, age)
    if dt > 0.0:
        _spin_or_not(s, m, clean, settings, work[1], ring, t, last_t, dt, measured, alt, ints, floats, cursor)
    return True


@entry
def run_frames(
    times: Any,
    values: Any,
    first: int,
    last: int,
    clean: Any,
    work: Any,
    settings: Any,
    motion: Any,
    state: Any,
    channels: Any,
    flags: Any,
    ring: Any,
    decision: Any,
    beliefs: Any,
    cards: Any,
    ints: Any,
    floats: Any,
    cursor: Any,
) -> int:
    """Take frames first (included) to last (excluded); returns the index of the first frame not taken."""
    st = settings[0]
    m = motion[0]
    s = state[0]
    d = decision[0]
    b = beliefs[0]
    room = ints.shape[0] - SLOTS_PER_STEP
    for i in range(first, last):
        if cursor[0] > room:
            return i
        if step_frame(times[i], values[i], clean, work, st, m, s, channels, flags, ring, ints, floats, cursor):
            decide(m, d, b, cards, st, ints, floats, cursor)
    return last


@inner
def step_tick(t: int, settings: Any, m: Any, s: Any, ints: Any, floats: Any, cursor: Any) -> bool:
    """Time passing without frames: carry the motion forward, growing less sure; True when there is something to decide."""
    if s.started == 0 or t <= s.now_ns:
        return False
    _clear_pulses(m)
    s.now_ns = t
    age = (t - s.last_ns) * 1e-9
    m.time_ns = t
    if age <= settings.data_age_limit_s:
        return True
    if s.lost == 0:
        s.lost = 1
        s.lost_ns = s.last_ns
        m.data_lost_now = 1
        slot = emit(ints, floats, cursor, CODE_LINK, s.last_ns, t)
        floats[slot, 0] = 1.0
        floats[slot, 1] = age
    m.estimated = 1
    since_altitude = (t - s.alt_ns) * 1e-9 if s.alt_ns > 0 else age
    m.altitude_m = carried_altitude(s, m, settings, since_altitude)
    m.altitude_sd_m = carried_altitude_sd(s, m, settings, since_altitude)
    m.sink_mps = carried_sink(s, m, settings, since_altitude)
    m.sink_ahead_mps = sink_ahead(s, m, settings, since_altitude)
    if m.in_spin == 1:
        sense = m.sense_from_above
        so_far = sense * (s.turned_f - s.spin_f)
        rotation = carried_rotation(s, sense, so_far / _TURN)
        m.turns = max(so_far + rotation * age, 0.0) / _TURN
        m.turns_about_vertical = (sense * (s.turned_v - s.spin_v) + rotation * age * vertical_share(s)) / _TURN
        m.turns_sd = _turns_sd(s, carried_turn_sd(rotation, so_far / _TURN, age))
    return True


@entry
def run_tick(
    t: int,
    settings: Any,
    motion: Any,
    state: Any,
    decision: Any,
    beliefs: Any,
    cards: Any,
    ints: Any,
    floats: Any,
    cursor: Any,
) -> None:
    """Take one tick at source time `t`."""
    if step_tick(t, settings[0], motion[0], state[0], ints, floats, cursor):
        decide(motion[0], decision[0], beliefs[0], cards, settings[0], ints, floats, cursor)
