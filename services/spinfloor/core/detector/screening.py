"""Screening of each channel: wild points, stuck, clipped, zero-filled and missing values, each with its flag.

Values SI and radians, times int64 ns. A refused value leaves NaN in the clean row: later steps treat it as missing.
Behaviour by flag: docs/method/quality.md.
"""

import math
from typing import Any

import numpy as np

from spinfloor.core import channels as ch
from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.emission import CODE_QUALITY, emit
from spinfloor.core.detector.states import CLIPPED, FLAG_COUNT, MISSING, STUCK, TIME_ROW, WILD, ZERO_FILLED

_DEG = math.pi / 180.0
_FT = 0.3048
_KT = 1852.0 / 3600.0
_G = 9.80665
# Largest believable step: a fixed part (noise, quantisation) plus a rate of change times the time since.
_STEP_BASE = np.full(ch.CHANNEL_COUNT, np.inf)
_STEP_RATE = np.full(ch.CHANNEL_COUNT, 0.0)
_LOWEST = np.full(ch.CHANNEL_COUNT, -np.inf)
_HIGHEST = np.full(ch.CHANNEL_COUNT, np.inf)
for _c, _base, _rate, _limit in (
    (ch.ROLL_RATE, 60 * _DEG, 1500 * _DEG, 1000 * _DEG),
    (ch.PITCH_RATE, 60 * _DEG, 1200 * _DEG, 1000 * _DEG),
    (ch.YAW_RATE, 50 * _DEG, 900 * _DEG, 1000 * _DEG),
    (ch.ALPHA, 20 * _DEG, 500 * _DEG, 181 * _DEG),
    (ch.BETA, 20 * _DEG, 500 * _DEG, 181 * _DEG),
    (ch.ROLL, np.inf, 0.0, 361 * _DEG),
    (ch.PITCH, np.inf, 0.0, 100 * _DEG),
    (ch.HEADING, np.inf, 0.0, 721 * _DEG),
    (ch.CALIBRATED_AIRSPEED, 20 * _KT, 150 * _KT, 700 * _KT),
    (ch.LONGITUDINAL_LOAD, 3 * _G, 60 * _G, 30 * _G),
    (ch.LATERAL_LOAD, 3 * _G, 60 * _G, 30 * _G),
    (ch.NORMAL_LOAD, 4 * _G, 80 * _G, 30 * _G),
):
    _STEP_BASE[_c], _STEP_RATE[_c], _LOWEST[_c], _HIGHEST[_c] = _base, _rate, -_limit, _limit
_STEP_BASE[ch.PRESSURE_ALTITUDE], _STEP_RATE[ch.PRESSURE_ALTITUDE] = 130.0 * _FT, 900.0 * _FT  # encoders step 100 ft
for _c in (ch.STICK_AFT, ch.STICK_RIGHT, ch.PEDAL_RIGHT, ch.THROTTLE):
    _LOWEST[_c], _HIGHEST[_c] = -1.5, 1.5  # of full travel
_LOWEST[ch.PRESSURE_ALTITUDE], _HIGHEST[ch.PRESSURE_ALTITUDE] = -3000.0 * _FT, 100_000.0 * _FT
MISSING_NS = int(tu.MISSING_S * 1e9)
SLOWEST_NS = int(tu.SLOWEST_CHANNEL_S * 1e9)
_NEVER_NS = 1 << 62
STEP_BASE, STEP_RATE, LOWEST, HIGHEST = _STEP_BASE, _STEP_RATE, _LOWEST, _HIGHEST


@inner
def earn(flags: Any, row: int, flag: int, t: int, ints: Any, floats: Any, cursor: Any) -> None:
    """Note that a flag holds now; announce it when it is new."""
    flags[row, flag, 0] = t
    if flags[row, flag, 1] == 0:
        flags[row, flag, 1] = 1
        slot = emit(ints, floats, cursor, CODE_QUALITY, t, t)
        floats[slot, 0] = row
        floats[slot, 1] = flag
        floats[slot, 2] = 1.0


@hot
def clipped_now(flags: Any, c: int, t: int) -> bool:
    """The channel stands at its rail or stop on this frame, or stood there on one just before."""
    return bool(flags[c, CLIPPED, 1] == 1 and t - flags[c, CLIPPED, 0] < 100_000_000)


@inner
def retire(flags: Any, t: int, ints: Any, floats: Any, cursor: Any) -> int:
    """Announce the end of flags not earned for FLAG_HOLD_S (16 at most per call); 1 while a needed channel is flagged."""
    hold = int(tu.FLAG_HOLD_S * 1e9)
    room = 16
    degraded = 0
    for row in range(TIME_ROW + 1):
        for flag in range(FLAG_COUNT):
            if flags[row, flag, 1] == 0:
                continue
            if t - flags[row, flag, 0] > hold and room > 0:
                flags[row, flag, 1] = 0
                room -= 1
                slot = emit(ints, floats, cursor, CODE_QUALITY, flags[row, flag, 0], t)
                floats[slot, 0] = row
                floats[slot, 1] = flag
                floats[slot, 2] = 0.0
            elif row <= ch.BETA:
                degraded = 1
    return degraded


@inner
def _is_wild(
    k: Any, v: float, t: int, step_base: float, step_rate: float, stay_ns: int, still_ns: int, resumed: bool
) -> bool:
    """A step too large to be motion, until the new level has proved itself by staying for `stay_ns`, `still_ns` unmoved.

    resumed: a rate or vane after a gap, in which it may have gone far: further than in RESUMED_S, and a second value has to agree.
    """
    if k.seen < 3:
        return False
    elapsed_s = tu.RESUMED_S if resumed else (t - k.good_ns) * 1e-9
    limit = step_base + step_rate * elapsed_s
    stands = k.suspect_count > 0 and v == k.suspect and k.suspect_moves == 0 and t - k.suspect_since_ns < still_ns
    if abs(v - k.good) <= limit and not stands:
        k.suspect_count = 0
        return False
    settled = k.suspect_count > 0 and abs(v - k.suspect) <= step_base + step_rate * (t - k.suspect_ns) * 1e-9
    k.suspect_count = k.suspect_count + 1 if settled else 1
    if not settled:
        k.suspect_since_ns, k.suspect_moves = t, 0
    elif v != k.suspect:
        k.suspect_moves = 1
    k.suspect = v
    k.suspect_ns = t
    if k.suspect_count >= (2 if resumed else 4) and t - k.suspect_since_ns >= (
        stay_ns if k.suspect_moves == 1 else still_ns
    ):
        k.suspect_count = 0
        return False
    return True


@inner
def _compare_first(k: Any, v: float, t: int, limit: float) -> None:
    """The first altitudes are not used: three in a row have to agree, for the ring of heights forgets slowly."""
    k.seen = k.seen + 1 if k.seen > 0 and abs(v - k.good) <= limit else 1
    k.good, k.good_ns = v, t


@inner
def _note_raw(k: Any, v: float, t: int) -> None:
    if v != k.raw:
        _note_change(k, v, t)
    if abs(v) > k.peak:
        k.peak = abs(v)


@hot
def _note_change(k: Any, v: float, t: int) -> None:
    """The value has moved on; the smallest step it ever takes is its encoder's count."""
    k.count = min(k.count, abs(v - k.raw))
    k.raw = v
    k.same_ns = t


@inner
def _coarse(c: int, k: Any) -> bool:
    """The encoder's count is so large that a value stands for seconds in a steady spin."""
    if c == ch.PRESSURE_ALTITUDE:
        return bool(k.count > tu.COARSE_ALTITUDE_M)
    return bool(k.count > tu.COARSE_RAD)


@inner
def _closely(
    c: int,
    v: float,
    zeroed: bool,
    t: int,
    channels: Any,
    flags: Any,
    turning: float,
    ints: Any,
    floats: Any,
    cursor: Any,
) -> float:
    """A value that is not plainly good, looked at closely: itself when it can be believed, else NaN."""
    k = channels[c]
    if zeroed and v == 0.0:
        earn(flags, c, ZERO_FILLED, t, ints, floats, cursor)
        return math.nan
    stay_ns = still_ns = 0
    if c == ch.PRESSURE_ALTITUDE:
        if k.seen < 3 and LOWEST[c] <= v <= HIGHEST[c]:
            _compare_first(k, v, t, STEP_BASE[c] + STEP_RATE[c] * (t - k.good_ns) * 1e-9)
            return math.nan
        stay_ns = tu.LEVEL_STAYS_NS
        still_ns = tu.LEVEL_STAYS_STILL_NS if turning < tu.STUCK_MOVING_RADPS else _NEVER_NS
    resumed = c <= ch.BETA and c != ch.PRESSURE_ALTITUDE and (t - k.good_ns) * 1e-9 > tu.GAP_S
    if not LOWEST[c] <= v <= HIGHEST[c] or _is_wild(k, v, t, STEP_BASE[c], STEP_RATE[c], stay_ns, still_ns, resumed):
        earn(flags, c, WILD, t, ints, floats, cursor)
        return math.nan
    if c <= ch.BETA:
        _note_raw(k, v, t)
        if _frozen(c, k, v, t, flags, turning, ints, floats, cursor):
            return math.nan
    _accept(k, v, t)
    if k.seen < 1000:
        k.seen += 1
    return v


@hot
def _note_spacing(k: Any, since_ns: int) -> None:
    """A channel sampled more slowly than MISSING_S comes late every time; another one now and then."""
    if MISSING_NS < since_ns < SLOWEST_NS:
        k.slow_count += 1
        k.every_ns = since_ns
    else:
        k.slow_count = 0


@inner
def _accept(k: Any, v: float, t: int) -> None:
    """The value is believed."""
    if t - k.good_ns > MISSING_NS or k.slow_count != 0:
        _note_spacing(k, t - k.good_ns)
    k.good = v
    k.good_ns = t


@inner
def _late_ns(k: Any) -> int:
    """Without a value for longer, it is missing."""
    return max(MISSING_NS, int(tu.SLOW_SPACINGS * k.every_ns)) if k.slow_count >= tu.SLOW_VALUES else MISSING_NS


@hot
def _plainly_alive(c: int, k: Any, v: float, t: int, slow: bool) -> bool:
    """Below the rail and changed since the last frame, or the same while too little moves to call it stuck."""
    size = abs(v)
    if v == k.raw:
        alive = slow and size < k.rail and (c > ch.YAW_RATE or size <= tu.CLIP_LEAST_RADPS)
        if alive:
            k.same_ns = t  # while little moves a value may stand as long as it likes
        return alive
    if size >= k.rail:
        return False
    _note_change(k, v, t)
    if size > k.peak:
        k.peak = size
    return True


@hot
def _screen_hands(row: Any, clean: Any, zeroed: bool, t: int, flags: Any, ints: Any, floats: Any, cursor: Any) -> None:
    """Controls and throttle have limits, the rest behind the loads have none; none of them has steps."""
    for c in range(ch.NORMAL_LOAD + 1, ch.CHANNEL_COUNT):
        v = row[c]
        clean[c] = v
        if c > ch.THROTTLE:
            continue
        if zeroed and v == 0.0:
            clean[c] = math.nan
        elif v < LOWEST[c] or v > HIGHEST[c]:
            clean[c] = math.nan
            earn(flags, c, WILD, t, ints, floats, cursor)


@hot
def screen_row(
    row: Any,
    clean: Any,
    t: int,
    channels: Any,
    flags: Any,
    turning: float,
    falling: bool,
    ints: Any,
    floats: Any,
    cursor: Any,
) -> None:
    """Fill `clean` with the values of `row` that can be believed; `turning` is the present rotation in rad/s.

    falling: the altitude was changing fast, so one that stands is no more believed than in a spin.

    Nearly every value is plainly good: in range, a small step from the last, changed since, not at a rail.
    """
    zeroed = (
        turning > tu.ZERO_MOVING_RADPS
        and row[ch.ROLL_RATE] == 0.0
        and row[ch.PITCH_RATE] == 0.0
        and row[ch.YAW_RATE] == 0.0
    )
    _screen_hands(row, clean, zeroed, t, flags, ints, floats, cursor)
    for c in range(ch.NORMAL_LOAD + 1):
        v = row[c]
        k = channels[c]
        if v != v:
            clean[c] = math.nan
            if c <= ch.BETA and k.good_ns > 0 and t - k.good_ns > _late_ns(k):
                earn(flags, c, MISSING, t, ints, floats, cursor)
            continue
        plain = k.seen >= 3 and not zeroed and LOWEST[c] <= v <= HIGHEST[c] and abs(v - k.good) <= STEP_BASE[c]
        moving = max(turning, tu.STUCK_MOVING_RADPS) if falling and c == ch.PRESSURE_ALTITUDE else turning
        if plain and c <= ch.BETA:
            slow = moving < tu.STUCK_MOVING_RADPS and flags[c, STUCK, 1] == 0
            plain = _plainly_alive(c, k, v, t, slow)
        if plain:
            clean[c] = v
            _accept(k, v, t)
            if k.suspect_count != 0:
                k.suspect_count = 0
        else:
            clean[c] = _closely(c, v, zeroed, t, channels, flags, moving, ints, floats, cursor)


@inner
def _frozen(c: int, k: Any, v: float, t: int, flags: Any, turning: float, ints: Any, floats: Any, cursor: Any) -> bool:
    """Flag clipped and stuck values; True when the value must not be used (stuck attitude, alpha or altitude)."""
    same_s = (t - k.same_ns) * 1e-9
    if c <= ch.YAW_RATE:
        at_rail = abs(v) >= k.rail
        if not at_rail:
            long = same_s >= (tu.COARSE_SAME_S if _coarse(c, k) else tu.CLIP_SAME_S)
            at_rail = long and abs(v) >= k.peak and abs(v) > tu.CLIP_LEAST_RADPS
        if at_rail:
            earn(flags, c, CLIPPED, t, ints, floats, cursor)
            return False
    if turning < tu.STUCK_MOVING_RADPS and flags[c, STUCK, 1] == 0:  # what is stuck stays so until it moves
        return False
    coarse = _coarse(c, k)
    if c == ch.PRESSURE_ALTITUDE:
        # One that stands is not followed even before it is called stuck: it would take the sink with it.
        if same_s <= (tu.COARSE_SAME_S if coarse else tu.STUCK_ALTITUDE_S):
            return bool(same_s > (tu.COARSE_STANDS_S if coarse else tu.STANDS_S))
    elif same_s <= (tu.COARSE_STUCK_S if coarse else tu.STUCK_S):
        return False
    if c in (ch.ALPHA, ch.BETA) and abs(v) >= k.peak:
        earn(flags, c, CLIPPED, t, ints, floats, cursor)
        return bool(c == ch.ALPHA and abs(v) < tu.PEGGED_ALPHA_RAD)
    earn(flags, c, STUCK, t, ints, floats, cursor)
    return c > ch.YAW_RATE
