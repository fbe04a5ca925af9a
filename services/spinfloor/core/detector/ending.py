"""The end of a spin: rotation stopped or wing un-stalled, held for a time scaled to the turn, then back-dated.

A falter is not an end: rotation may dip by two thirds once per turn. Method: docs/method/start-and-end.md.
"""

import math
from typing import Any

import numba

from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.spin import end_spin

_TURN = 2.0 * math.pi


@numba.njit(cache=True)
def _held(share: float, low: float, high: float, period: float) -> float:
    return min(max(share * period, low), high)


@numba.njit(cache=True)
def period_now(s: Any, m: Any) -> float:
    """Seconds per turn: the last whole turn's, else from the present rate, between 1 and 8 s."""
    period = m.turn_period_s
    if period != period:
        period = _TURN / max(abs(s.wf_turn), 0.3)
    return min(max(period, 1.0), 8.0)


@numba.njit(cache=True)
def below_stall(s: Any, m: Any, settings: Any, measured: bool) -> float:
    """How far alpha is below the stall in the spin's orientation [rad], positive when flying."""
    if measured:
        if m.orientation > 0:
            return settings.stall_alpha_upright_rad - tu.STALL_MARGIN_RAD - s.alpha_fast
        return s.alpha_fast - settings.stall_alpha_inverted_rad - tu.STALL_MARGIN_RAD
    # Without alpha: r against p, with the nose-down pitch that un-stalls the wing leading it.
    side = float(m.sense_from_above)
    along = side * s.mean_p
    across = side * s.mean_r * m.orientation
    a = math.atan2(across, max(along, 0.05))
    return 8.0 * math.pi / 180.0 - a


@numba.njit(cache=True)
def _watch_unstall(s: Any, m: Any, settings: Any, t: int, last_t: int, measured: bool, alt: float) -> float:
    below = below_stall(s, m, settings, measured)
    if below <= 0.0:
        s.unstall_ns = 0
        return below
    if s.unstall_ns == 0:
        delay = tu.ALPHA_FAST_S if measured else tu.MEAN_S
        back = 0.5 * (t - last_t) * 1e-9 + delay
        s.unstall_ns = max(t - int(back * 1e9), m.spin_start_ns)
        s.unstall_f = s.turned_f - back * s.wf_fast
        s.unstall_v = s.turned_v - back * s.wv_fast
        s.unstall_alt = alt + back * s.sink
    return below


@numba.njit(cache=True)
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


@numba.njit(cache=True)
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
    below = _watch_unstall(s, m, settings, t, last_t, measured, alt)
    _watch_stop(s, m, t, last_t, measured, alt)
    period = period_now(s, m)
    done = False
    if s.unstall_ns > 0:
        if measured and below > tu.FLYING_MARGIN_RAD - tu.STALL_MARGIN_RAD:
            hold = _held(tu.FLYING_HOLD_TURNS, tu.FLYING_HOLD_S[0], tu.FLYING_HOLD_S[1], period)
        else:
            hold = _held(tu.UNSTALL_HOLD_TURNS, tu.UNSTALL_HOLD_S[0], tu.UNSTALL_HOLD_S[1], period)
        done = (t - s.unstall_ns) * 1e-9 > hold
    if s.stop_ns > 0:
        hold = _held(tu.STOP_HOLD_TURNS, tu.STOP_HOLD_S[0], tu.STOP_HOLD_S[1], period)
        done = done or (t - s.stop_ns) * 1e-9 > hold
    if not done:
        return
    if s.unstall_ns > 0 and (s.stop_ns == 0 or s.unstall_ns <= s.stop_ns):
        end_spin(s, m, t, s.unstall_ns, s.unstall_f, s.unstall_v, s.unstall_alt, ints, floats, cursor)
    else:
        end_spin(s, m, t, s.stop_ns, s.stop_f, s.stop_v, s.stop_alt, ints, floats, cursor)
