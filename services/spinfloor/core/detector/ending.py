"""The end of a spin: rotation stopped or wing un-stalled, held for a time scaled to the turn, then back-dated.

A falter is not an end: rotation may dip by two thirds once per turn. Method: docs/method/start-and-end.md.
"""

import math
from typing import Any

from spinfloor.core.compiled import inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.chain import nose_to_down, rates_side
from spinfloor.core.detector.controls import infer_recovery
from spinfloor.core.detector.spin import end_spin

_TURN = 2.0 * math.pi


@inner
def _held(share: float, low: float, high: float, period: float) -> float:
    return min(max(share * period, low), high)


@inner
def period_now(s: Any, m: Any) -> float:
    """Seconds per turn: the last whole turn's, else from the present rate, between 1 and 8 s."""
    period = m.turn_period_s
    if period != period:
        period = _TURN / max(abs(s.wf_turn), 0.3)
    return min(max(period, 1.0), 8.0)


@inner
def stall_angle(m: Any, settings: Any) -> float:
    """|alpha| [rad] at the stall on the side the spin is on, from the plan."""
    return float(settings.stall_alpha_upright_rad if m.orientation > 0 else -settings.stall_alpha_inverted_rad)


@inner
def stall_edge(s: Any, m: Any, settings: Any) -> float:
    """|alpha| [rad] below which the spin's wing counts as flying.

    The plan's stall angle less the margin; once recovery controls are in, up to the plan's angle itself when the spin
    stood far above it, because alpha then falls through both within a tenth of a second.
    """
    stall = stall_angle(m, settings)
    edge = stall - tu.STALL_MARGIN_RAD
    if m.recovery_started == 1:
        edge = min(stall, max(edge, tu.EDGE_SHARE * abs(s.spin_alpha)))
    return float(edge)


@inner
def _note_unstall(s: Any, m: Any, t: int, back: float, alt: float) -> None:
    s.unstall_ns = max(t - int(back * 1e9), m.spin_start_ns)
    s.unstall_f = s.turned_f - back * s.wf_fast
    s.unstall_v = s.turned_v - back * s.wv_fast
    s.unstall_alt = alt + back * s.sink


@inner
def _unstall_by_alpha(s: Any, m: Any, settings: Any, t: int, last_t: int, alt: float) -> float:
    """Depth below the stall edge [rad], positive when flying; the crossing is interpolated and noted."""
    edge = stall_edge(s, m, settings)
    below = edge - m.orientation * s.alpha_fast
    if below <= 0.0:
        s.unstall_ns = 0
    elif s.unstall_ns == 0:
        before = edge - m.orientation * s.last_alpha
        part = below / (below - before) if before < 0.0 else 1.0
        _note_unstall(s, m, t, part * (t - last_t) * 1e-9 + tu.ALPHA_FAST_S, alt)
    return float(below)


@inner
def _unstall_by_rates(s: Any, m: Any, settings: Any, t: int, dt: float, alt: float) -> float:
    """Without alpha: yaw gone against roll, and the rotation collapsing because roll damping is back.

    The un-stall is dated midway between the two: r/p below the edge, rotation leaving its recent peak.
    """
    sense = m.sense_from_above
    rate = sense * s.wf_fast
    s.peak_f = max(rate, s.peak_f * (1.0 - min(dt / tu.PEAK_S, 1.0)))
    if rate > tu.LEAVES_PEAK * s.peak_f or s.fall_ns == 0:
        s.fall_ns, s.fall_f, s.fall_v, s.fall_alt = t, s.turned_f, s.turned_v, alt
    along = max(sense * s.fast_p, 0.05)
    across = sense * m.orientation * s.fast_r
    edge = tu.RATES_EDGE_SHARE * stall_angle(m, settings)
    if across > math.tan(edge) * along:
        s.yaw_gone_ns = 0
    elif s.yaw_gone_ns == 0:
        s.yaw_gone_ns, s.yaw_gone_f, s.yaw_gone_v, s.yaw_gone_alt = t, s.turned_f, s.turned_v, alt
    if s.yaw_gone_ns == 0 or rate > tu.COLLAPSED * s.peak_f:
        s.unstall_ns = 0
    elif s.unstall_ns == 0:
        # A flat spin loses its yaw long before the rotation collapses, a steep one at the same moment: the middle.
        s.unstall_ns = s.fall_ns + (s.yaw_gone_ns - s.fall_ns) // 2
        s.unstall_f = 0.5 * (s.fall_f + s.yaw_gone_f)
        s.unstall_v = 0.5 * (s.fall_v + s.yaw_gone_v)
        back = tu.FAST_S
        s.unstall_alt = 0.5 * (s.fall_alt + s.yaw_gone_alt) + back * s.sink
        s.unstall_ns = max(s.unstall_ns - int(back * 1e9), m.spin_start_ns)
        s.unstall_f -= back * sense * s.peak_f
        s.unstall_v -= back * sense * s.peak_f
    return 0.0


@inner
def _watch_belly(s: Any, m: Any, settings: Any, t: int, last_t: int, alt: float) -> float:
    """Without alpha: on a vertical path alpha is the angle from the nose to the carried down; notes its fall below the stall.

    Returns the depth below the stall [rad], NaN until the path has had the turns to become vertical.
    """
    edge = stall_angle(m, settings)
    alpha = nose_to_down(s, m.orientation)
    if alpha >= edge:
        s.belly_ns = 0
    elif s.belly_ns == 0:
        back = 0.5 * (t - last_t) * 1e-9
        s.belly_ns = max(t - (t - last_t) // 2, m.spin_start_ns)
        s.belly_f, s.belly_v, s.belly_alt = s.turned_f - back * s.wf, s.turned_v - back * s.wv, alt + back * s.sink
    vertical = m.sense_from_above * (s.turned_f - s.spin_f) > tu.BELLY_TURNS_RAD
    return float(edge - alpha) if vertical else math.nan


@inner
def _date_by_two_witnesses(s: Any, m: Any) -> None:
    """The un-stall halfway between alpha's fall by the carried down and the rotation's fall, no further than that from alpha's."""
    apart = (s.fall_ns - s.belly_ns) * 1e-9 - tu.FALL_LATE_S
    shift = 0.5 * min(max(apart, -tu.WITNESSES_APART_S), tu.WITNESSES_APART_S)
    s.unstall_ns = max(s.belly_ns + int(shift * 1e9), m.spin_start_ns)
    s.unstall_f = s.belly_f + shift * m.sense_from_above * s.peak_f
    s.unstall_v = s.belly_v + shift * m.sense_from_above * s.peak_f
    s.unstall_alt = s.belly_alt - shift * s.sink


@inner
def _watch_flip(s: Any, m: Any, t: int, dt: float, alt: float) -> bool:
    """Without alpha: the aircraft has turned over within its rotation; the spin ended where the evidence changed side."""
    s.side_now += dt / (tu.FLIP_S + dt) * (rates_side(s) - s.side_now)
    along = m.orientation * s.side_now
    if along >= 0.0:
        s.flip_ns = 0
    elif s.flip_ns == 0:
        s.flip_ns, s.flip_f, s.flip_v, s.flip_alt = t, s.turned_f, s.turned_v, alt
    return bool(along < tu.FLIPPED)


@inner
def _watch_stop(s: Any, m: Any, t: int, last_t: int, measured: bool, alt: float) -> None:
    sense = m.sense_from_above
    rate = sense * s.wv_fast
    if not measured:
        rate = min(rate, sense * s.wf_fast)
    if rate >= tu.STOP_ROTATION_RADPS:
        s.stop_ns = 0
    elif s.stop_ns == 0:
        back = 0.5 * (t - last_t) * 1e-9 + tu.FAST_S
        s.stop_ns = max(t - int(back * 1e9), m.spin_start_ns)
        s.stop_f = s.turned_f - back * s.wf_fast
        s.stop_v = s.turned_v - back * s.wv_fast
        s.stop_alt = alt + back * s.sink


@inner
def _watch_unstall(s: Any, m: Any, settings: Any, t: int, last_t: int, measured: bool, alt: float) -> float:
    """Note the un-stall candidate; returns how long it has to hold [s], 0 when the aircraft has turned over."""
    dt = (t - last_t) * 1e-9
    period = period_now(s, m)
    s.belly_depth = math.nan
    if measured:
        s.spin_alpha += dt / (2.0 + dt) * (s.alpha - s.spin_alpha) if m.recovery_started == 0 else 0.0
        below = _unstall_by_alpha(s, m, settings, t, last_t, alt)
        if below > tu.FLYING_MARGIN_RAD - tu.STALL_MARGIN_RAD:
            return float(_held(tu.FLYING_HOLD_TURNS, tu.FLYING_HOLD_S[0], tu.FLYING_HOLD_S[1], period))
        hold = _held(tu.UNSTALL_HOLD_TURNS, tu.UNSTALL_HOLD_S[0], tu.UNSTALL_HOLD_S[1], period)
        whole = abs(s.wf_fast) > tu.WHOLE_ROTATION * abs(s.wf_turn)
        return float(hold * tu.SHALLOW_HOLD if whole and below < tu.SHALLOW_RAD else hold)
    _unstall_by_rates(s, m, settings, t, dt, alt)
    s.belly_depth = _watch_belly(s, m, settings, t, last_t, alt)
    if _watch_flip(s, m, t, dt, alt):
        if s.unstall_ns == 0 or s.flip_ns < s.unstall_ns:
            s.unstall_ns, s.unstall_f, s.unstall_v, s.unstall_alt = s.flip_ns, s.flip_f, s.flip_v, s.flip_alt
        return 0.0
    hold = _held(tu.UNSTALL_RATES_HOLD_TURNS, tu.UNSTALL_RATES_HOLD_S[0], tu.UNSTALL_RATES_HOLD_S[1], period)
    if s.belly_depth > tu.FLYING_MARGIN_RAD:
        hold = min(hold, tu.BELLY_HOLD_S)
    elif s.belly_depth < 0.0:
        hold += tu.BELLY_WAIT_S
    return float(hold)


@inner
def _watch_doubt(s: Any, m: Any) -> None:
    """The rotation comes back from a standstill early in the spin: it may as well have begun here."""
    along = m.sense_from_above * s.wv_fast
    s.spin_least = min(s.spin_least, along)
    if along > tu.START_ROTATION_RADPS:
        early = m.sense_from_above * (s.turned_v - s.spin_v) < tu.DOUBT_VERTICAL_RAD
        if s.spin_least < tu.DOUBT_RADPS and early:
            s.spin_doubt = max(s.spin_doubt, abs(s.turned_f - s.spin_f))
        s.spin_least = math.inf


@inner
def _watch_deep(s: Any, m: Any, t: int, alt: float) -> bool:
    """Without alpha: the rotation has fallen to a small part of the spin's and stays there; noted as an un-stall."""
    s.best_f = max(s.best_f, m.sense_from_above * s.wf_turn)
    if m.sense_from_above * s.wf_fast > tu.DEEP_SHARE * s.best_f:
        s.deep_ns = 0
    elif s.deep_ns == 0:
        s.deep_ns, s.deep_f, s.deep_v, s.deep_alt = t, s.turned_f, s.turned_v, alt
    if s.deep_ns == 0 or (t - s.deep_ns) * 1e-9 < max(tu.DEEP_S, tu.DEEP_TURNS * period_now(s, m)):
        return False
    if s.unstall_ns == 0 or s.deep_ns < s.unstall_ns:
        s.unstall_ns, s.unstall_f, s.unstall_v, s.unstall_alt = s.deep_ns, s.deep_f, s.deep_v, s.deep_alt
    return True


@inner
def _turned_back(s: Any, m: Any, measured: bool) -> bool:
    """The rotation goes the other way, and not slowly."""
    along = m.sense_from_above * s.wv_fast
    if not measured:
        along = max(along, m.sense_from_above * s.wf_fast)
    return bool(along < -tu.TURNED_AGAIN_RADPS)


@inner
def watch_end(
    s: Any,
    m: Any,
    settings: Any,
    t: int,
    last_t: int,
    measured: bool,
    alt: float,
    ints: Any,
    floats: Any,
    cursor: Any,
) -> None:
    """Note candidates for the end and, once one has held long enough, end the spin at the earlier of them."""
    _watch_doubt(s, m)
    hold = _watch_unstall(s, m, settings, t, last_t, measured, alt)
    _watch_stop(s, m, t, last_t, measured, alt)
    done = s.unstall_ns > 0 and (t - s.unstall_ns) * 1e-9 > hold
    if s.stop_ns > 0:
        hold = _held(tu.STOP_HOLD_TURNS, tu.STOP_HOLD_S[0], tu.STOP_HOLD_S[1], period_now(s, m))
        done = done or (t - s.stop_ns) * 1e-9 > hold or _turned_back(s, m, measured)
    if not measured and _watch_deep(s, m, t, alt):
        done = True
    if not done:
        return
    known = s.belly_depth == s.belly_depth
    if known and s.unstall_ns > 0 and (t - s.belly_ns) * 1e-9 < tu.BELLY_BACK_S:
        _date_by_two_witnesses(s, m)
    if s.unstall_ns > 0 and (s.stop_ns == 0 or s.unstall_ns <= s.stop_ns):
        infer_recovery(s, m, t, s.unstall_ns, s.unstall_f, s.unstall_alt, ints, floats, cursor)
        end_spin(s, m, t, s.unstall_ns, s.unstall_f, s.unstall_v, s.unstall_alt, ints, floats, cursor)
    else:
        infer_recovery(s, m, t, s.stop_ns, s.stop_f, s.stop_alt, ints, floats, cursor)
        end_spin(s, m, t, s.stop_ns, s.stop_f, s.stop_v, s.stop_alt, ints, floats, cursor)
