"""Inside a spin: making it known, whole turns, mode, flattening, power, and its end.

Turns rad inside, times int64 ns, altitudes metres. Method: docs/method/start-and-end.md, docs/method/rotation.md.
"""

import math
from typing import Any

from spinfloor.core import channels as ch
from spinfloor.core.compiled import inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.altitude import height_then
from spinfloor.core.detector.emission import CODE_SPIN_ENDED, CODE_SPIN_MODE, CODE_SPIN_STARTED, CODE_SPIN_TURN, emit

_TURN = 2.0 * math.pi


@inner
def _hole_sd_s(s: Any, when: int) -> float:
    """A date in or at the edge of the newest gap may be anywhere in it: its length over the root of twelve [s]."""
    edge = int(tu.HOLE_EDGE_S * 1e9)
    if s.hole_from_ns == 0 or when < s.hole_from_ns - edge or when > s.hole_to_ns + edge:
        return 0.0
    return float((s.hole_to_ns - s.hole_from_ns) * 1e-9 / math.sqrt(12.0))


@inner
def begin_spin(s: Any, m: Any, t: int, measured: bool, alt: float, ints: Any, floats: Any, cursor: Any) -> None:
    """The chain is a spin: fix start, orientation, direction, sense; say so."""
    side = 1 if s.chain_side >= 0.0 else -1
    m.in_spin = 1
    m.spin_ordinal += 1
    m.spin_start_ns = s.chain_ns
    m.spin_end_ns = 0
    m.sense_from_above = s.chain
    m.orientation = side
    m.direction = s.chain * side
    m.spin_start_altitude_m = s.chain_alt
    m.spin_end_altitude_m = math.nan
    m.mode = -1
    m.oscillatory = 0
    m.flattening = 0
    m.recovery_started = 0
    m.recovery_source = 0
    m.recovery_start_ns = 0
    m.recovery_start_turns = math.nan
    m.recovery_start_altitude_m = math.nan
    m.rotation_at_recovery_radps = math.nan
    m.turn_period_s = math.nan
    m.loss_per_turn_m = math.nan
    m.loss_per_turn_sd_m = math.nan
    m.turned_inverted_now = 1 if side < 0 < s.last_orientation else 0
    again = s.last_end_ns > 0 and s.dive == 1 and m.turned_inverted_now == 0
    m.reversed_now = 1 if again and m.direction != s.last_direction else 0
    m.restarted_now = 1 if again and m.direction == s.last_direction else 0
    s.spin_f, s.spin_v, s.spin_unsure, s.spin_clip = s.chain_f, s.chain_v, s.chain_unsure, s.chain_clip
    if (s.chain_ns - s.joined_ns) * 1e-9 < tu.JOINED_S:
        s.spin_clip -= 3  # it had begun before it was followed: turns are a lower bound
    s.turns_said = 0
    s.turn_ns, s.turn_alt, s.turn_sink = s.chain_ns, s.chain_alt, 0.0
    s.turn_alpha = math.nan
    s.alpha_sum = s.alpha_time = s.swing_sum = s.swing_sum2 = 0.0
    s.swing_mean = s.swing_share = math.nan
    s.rise_count = 0
    s.last_period = math.nan
    s.mode_said, s.osc_said, s.mode_ns = -1, 0, 0
    s.power_s = 0.0
    s.unstall_ns = s.stop_ns = 0
    s.peak_f = abs(s.wf_fast)
    s.spin_alpha = s.alpha_turn
    s.fall_ns = s.yaw_gone_ns = s.near_ns = s.flip_ns = s.belly_ns = 0
    s.side_now = float(side)
    s.dive = 0
    sure = measured and s.has_attitude == 1
    s.start_sd_s = math.hypot(tu.START_SD_S[0] if sure else tu.START_SD_S[1], _hole_sd_s(s, s.chain_ns))
    s.spin_doubt = s.start_doubt
    s.spin_least = math.inf
    s.best_f = 0.0
    s.deep_ns = 0
    slot = emit(ints, floats, cursor, CODE_SPIN_STARTED, s.chain_ns, t)
    floats[slot, 0] = side
    floats[slot, 1] = m.direction
    floats[slot, 2] = s.chain
    floats[slot, 3] = s.chain_alt
    floats[slot, 4] = m.spin_ordinal
    floats[slot, 5] = m.evidence
    floats[slot, 6] = math.hypot(m.altitude_sd_m, s.start_sd_s * tu.START_SINK * s.sink)
    floats[slot, 7] = m.reversed_now
    floats[slot, 8] = m.restarted_now
    floats[slot, 9] = m.turned_inverted_now


@inner
def _loss_sd(s: Any, settings: Any, loss: float) -> float:
    """Standard uncertainty of the height between two turns [m]: noise, their dates, and what of the lag does not cancel.

    An error of the instrument that stays is in both heights.
    """
    lag = 0.3 * settings.altimeter_lag_s * (s.sink_now - s.turn_sink)
    date = tu.TURN_DATE_SD_S * s.sink_now
    return math.sqrt(0.6 * s.alt_noise2 + 0.1 + date * date + lag * lag) + tu.LOSS_SHARE * abs(loss)


@inner
def count_turns(
    s: Any, m: Any, settings: Any, t: int, last_t: int, alt: float, ints: Any, floats: Any, cursor: Any
) -> None:
    """Announce each whole turn about the flight path, dated by interpolation within the step."""
    sense = m.sense_from_above
    if m.spin_start_altitude_m != m.spin_start_altitude_m:  # no altitude when it was known
        m.spin_start_altitude_m = height_then(s, t, m.spin_start_ns, alt)
        s.turn_alt = height_then(s, t, s.turn_ns, alt)
    turned = sense * (s.turned_f - s.spin_f)
    while turned >= (s.turns_said + 1) * _TURN and cursor[0] < ints.shape[0] - 24:
        s.turns_said += 1
        over = turned - s.turns_said * _TURN
        rate = max(sense * s.wf_turn, 0.3)
        back = over / rate
        since = s.turns_said * _TURN
        if s.turns_said == 1 and over > 1.0:  # the first turn was complete before the spin was known
            back = min(back, (t - m.spin_start_ns) * 0.5e-9)
        when = t - int(back * 1e9)
        height = alt + back * s.sink
        period = (when - s.turn_ns) * 1e-9
        m.loss_per_turn_m = s.turn_alt - height
        m.loss_per_turn_sd_m = _loss_sd(s, settings, m.loss_per_turn_m)
        s.last_period = m.turn_period_s
        m.turn_period_s = max(period, 0.05)
        s.turn_ns, s.turn_alt, s.turn_sink = when, height, s.sink_now
        _swing_of_turn(s)
        _alpha_of_turn(s, m)
        slot = emit(ints, floats, cursor, CODE_SPIN_TURN, when, t)
        floats[slot, 0] = since / _TURN
        floats[slot, 1] = sense * (s.turned_v - back * s.wv_fast - s.spin_v) / _TURN
        floats[slot, 2] = height
        floats[slot, 3] = m.loss_per_turn_m
        floats[slot, 4] = period
        floats[slot, 5] = m.turns_sd
        floats[slot, 6] = m.altitude_sd_m
        floats[slot, 7] = m.evidence
        floats[slot, 8] = m.turns_lower_bound
        floats[slot, 9] = m.flattening
        floats[slot, 10] = m.estimated
        floats[slot, 11] = m.loss_per_turn_sd_m


@inner
def _swing_of_turn(s: Any) -> None:
    """Amplitude of the rotation about its mean in the turn just completed, as a share of that; from the second turn on.

    A rotation that builds up by D from turn to turn spreads by D^2/12 (a ramp's variance), which is no swing.
    """
    if s.alpha_time <= 0.0:
        return
    mean = s.swing_sum / s.alpha_time
    variance = s.swing_sum2 / s.alpha_time - mean * mean - (mean - s.swing_mean) ** 2 / 12.0
    s.swing_share = math.sqrt(2.0 * max(variance, 0.0)) / (abs(mean) + 0.1) if variance == variance else math.nan
    s.swing_mean = mean
    s.swing_sum = s.swing_sum2 = 0.0


@inner
def _alpha_of_turn(s: Any, m: Any) -> None:
    """Mean |alpha| of the turn just completed; flattening when it has risen twice in a row by more than 2 deg."""
    if s.alpha_time <= 0.0:
        return
    mean = s.alpha_sum / s.alpha_time
    if s.turn_alpha == s.turn_alpha and s.turns_said > 2:
        s.rise_count = s.rise_count + 1 if mean > s.turn_alpha + 0.035 else 0
    s.turn_alpha = mean
    m.flattening = 1 if s.rise_count >= 2 else 0
    s.alpha_sum = s.alpha_time = 0.0


@inner
def _mode_of(a: float, said: int) -> int:
    """Class of |alpha|, leaving the announced class only past its edge by the hysteresis."""
    mode = 0
    for i in range(3):
        edge = tu.MODE_EDGES_RAD[i]
        if said >= 0:
            edge += tu.MODE_HYSTERESIS_RAD if said <= i else -tu.MODE_HYSTERESIS_RAD
        if a >= edge:
            mode = i + 1
    return mode


@inner
def watch_mode(s: Any, m: Any, t: int, dt: float, ints: Any, floats: Any, cursor: Any) -> None:
    """Mode and oscillation, from the first turn on; announced when changed."""
    a = abs(s.alpha_turn)
    s.alpha_sum += a * dt
    s.alpha_time += dt
    s.swing_sum += s.wf_fast * dt
    s.swing_sum2 += s.wf_fast * s.wf_fast * dt
    if (t - m.spin_start_ns) * 1e-9 < 1.5 or (t - s.mode_ns) < 500_000_000 or m.recovery_started == 1:
        return
    mode = _mode_of(a, s.mode_said)
    limit = tu.OSCILLATORY_SHARE * (0.8 if s.osc_said == 1 else 1.0)
    osc = 1 if s.swing_share > limit else 0
    m.mode = mode
    m.oscillatory = osc
    if mode == s.mode_said and osc == s.osc_said:
        return
    s.mode_said, s.osc_said, s.mode_ns = mode, osc, t
    slot = emit(ints, floats, cursor, CODE_SPIN_MODE, t, t)
    floats[slot, 0] = mode
    floats[slot, 1] = osc
    floats[slot, 2] = s.alpha_turn
    floats[slot, 3] = _seconds_per_turn(s, m)
    floats[slot, 4] = m.evidence
    floats[slot, 5] = s.swing_share


@inner
def _seconds_per_turn(s: Any, m: Any) -> float:
    """The last whole turn's; before the second, which the entry is not in, at the present rotation or its mean, whichever is faster."""
    if m.turn_period_s == m.turn_period_s and s.turns_said > 1:
        return float(m.turn_period_s)
    return _TURN / max(abs(s.wf_turn), abs(s.wf_fast), 0.05)


@inner
def watch_power(s: Any, m: Any, clean: Any, settings: Any, dt: float) -> None:
    """power_on: throttle above idle for half a second in the spin; -1 without throttle telemetry."""
    throttle = clean[ch.THROTTLE]
    if throttle != throttle:
        if s.power_s == 0.0:
            m.power_on = -1
        return
    if throttle > settings.idle_throttle:
        s.power_s = min(s.power_s + dt, 1.0)
    else:
        s.power_s = max(s.power_s - dt, 0.0)
    m.power_on = 1 if s.power_s > 0.5 else 0


@inner
def end_spin(
    s: Any, m: Any, t: int, when: int, f: float, v: float, height: float, ints: Any, floats: Any, cursor: Any
) -> None:
    """Freeze the spin at its back-dated end, not before its recovery, and say so."""
    sense = m.sense_from_above
    if m.recovery_started == 1 and when < m.recovery_start_ns:
        when, height = m.recovery_start_ns, m.recovery_start_altitude_m
        f = s.spin_f + sense * max(sense * (f - s.spin_f), m.recovery_start_turns * _TURN)
    m.in_spin = 0
    m.spin_ended_now = 1
    m.spin_end_ns = when
    m.spin_end_altitude_m = height
    m.turns = max(sense * (f - s.spin_f), 0.0) / _TURN
    m.turns_about_vertical = sense * (v - s.spin_v) / _TURN
    s.dive = 1
    s.low_alt, s.low_ns = math.inf, when
    s.last_orientation, s.last_direction, s.last_end_ns = m.orientation, m.direction, when
    s.barrier_ns = when
    if s.chain_ns < when or s.chain == sense:
        s.chain = 0  # what turns the other way since then may be the next spin already
    slot = emit(ints, floats, cursor, CODE_SPIN_ENDED, when, t)
    floats[slot, 0] = m.turns
    floats[slot, 1] = m.turns_about_vertical
    floats[slot, 2] = m.turns - m.recovery_start_turns if m.recovery_started == 1 else math.nan
    floats[slot, 3] = height
    floats[slot, 4] = m.spin_start_altitude_m - height
    end_sd_s = math.hypot(tu.END_SD_S[0] if s.by_vane == 1 else tu.END_SD_S[1], _hole_sd_s(s, when))
    floats[slot, 5] = math.hypot(m.turns_sd, end_sd_s * 0.5 * s.wf_turn / _TURN)  # it has lost about half by then
    floats[slot, 6] = math.hypot(m.altitude_sd_m, end_sd_s * s.sink)
    floats[slot, 7] = m.evidence
    floats[slot, 8] = s.stop_ns - when if s.stop_ns > 0 else math.nan
    floats[slot, 9] = s.unstall_ns - when if s.unstall_ns > 0 else math.nan
    floats[slot, 10] = m.turns_lower_bound
    floats[slot, 11] = (when - m.spin_start_ns) * 1e-9
    floats[slot, 12] = m.recovery_source
    floats[slot, 13] = m.recovery_start_altitude_m - height
    floats[slot, 14] = m.spin_ordinal
