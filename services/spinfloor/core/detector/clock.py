"""The time stamp of each frame: duplicates, frames out of order, jumps of the source's clock, gaps.

Times int64 ns. Behaviour by flag: docs/method/quality.md. A late frame may be a repeated one (a second source, a batch
that overlaps), one of a batch that was overtaken, or the first after the clock was set back. Only the last kind brings
values that were not seen at its time, outside a gap and not before the first frame.

What was seen is remembered of the newest frames one by one, and of the whole flight thinly: one frame of each stretch, the
stretches twice as long whenever the room is full. A flight that comes again, minutes later and by another way, meets them.
"""

import math
from typing import Any, Final

from spinfloor.core.channels import PITCH_RATE, PRESSURE_ALTITUDE, ROLL_RATE, YAW_RATE
from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.screening import earn
from spinfloor.core.detector.states import (
    CLOCK_JUMP,
    DUPLICATE,
    GAP,
    KEPT,
    OUT_OF_ORDER,
    PEDAL,
    STICK,
    TAKEN,
    TIME_ROW,
)  # fmt: skip

KEPT_SHIFT_LEAST: Final = 28  # stretches of 0.27 s
KEPT_SHIFT_MOST: Final = 32  # of 4.3 s
UNDECIDED: Final = 3  # stretches without meeting a frame that is known, and it is not the flight again
FOLLOWING: Final = 8  # stretches behind such a frame that belong to it: single frames get lost on any way
NEAR: Final = 8.0 * 30.0 + 30.0  # of what `_key` says: 30 m of altitude, and turning by 4 rad/s


@hot
def admit(s: Any, m: Any, t: int, row: Any, flags: Any, ints: Any, floats: Any, cursor: Any) -> bool:
    """True when the frame with time `t` is the next one to take in. row: its values, SI."""
    if not _next(s, m, t, row, flags, ints, floats, cursor):
        return False
    place = s.frames % TAKEN
    s.taken_ns[place] = t
    s.taken_key[place] = _key(row)
    _keep(s, t, s.taken_key[place])
    return True


@inner
def _next(s: Any, m: Any, t: int, row: Any, flags: Any, ints: Any, floats: Any, cursor: Any) -> bool:
    if s.started == 0:
        return True
    ahead = (t - s.last_ns) * 1e-9
    if ahead == 0.0:
        earn(flags, TIME_ROW, DUPLICATE, t, ints, floats, cursor)
        return False
    if ahead < 0.0:
        return _late(s, m, t, ahead, row, flags, ints, floats, cursor)
    s.back_count = 0
    if ahead > tu.AHEAD_S and not (s.ahead_ns > 0 and 0 < t - s.ahead_ns < int(2e9)):
        s.ahead_ns = t
        return False
    s.ahead_ns = 0
    if ahead > tu.CLOCK_SET_S:
        earn(flags, TIME_ROW, CLOCK_JUMP, t, ints, floats, cursor)
    if ahead > max(tu.GAP_S, 4.0 * s.frame_dt):
        earn(flags, TIME_ROW, GAP, t, ints, floats, cursor)
        s.hole_from_ns = s.last_ns if ahead <= tu.BACK_S else 0
        s.hole_to_ns = t if ahead <= tu.BACK_S else 0
    return True


@inner
def _key(row: Any) -> float:
    """What a frame said, as one number."""
    return float(row[ROLL_RATE] + 2.0 * row[PITCH_RATE] + 4.0 * row[YAW_RATE] + 8.0 * row[PRESSURE_ALTITUDE])


@inner
def _repeated(s: Any, t: int, row: Any) -> bool:
    key = _key(row)
    for place in range(TAKEN):
        if s.taken_ns[place] == t:
            return bool(s.taken_key[place] == key or (key != key and s.taken_key[place] != s.taken_key[place]))
    return False


@inner
def _keep(s: Any, t: int, key: float) -> None:
    """The first frame of each stretch is kept."""
    if s.kept_from_ns == 0 or t - s.kept_from_ns >= (2 * KEPT) << KEPT_SHIFT_MOST:
        s.kept_ns[:] = 0
        s.kept_from_ns, s.kept_shift = t, KEPT_SHIFT_LEAST
    while (t - s.kept_from_ns) >> s.kept_shift >= KEPT:
        _make_room(s)
    place = (t - s.kept_from_ns) >> s.kept_shift
    if s.kept_ns[place] == 0:
        s.kept_ns[place] = t
        s.kept_key[place] = key


@inner
def _make_room(s: Any) -> None:
    """Stretches twice as long; where they are the longest, the older half is forgotten."""
    half = KEPT // 2
    longest = s.kept_shift >= KEPT_SHIFT_MOST
    for place in range(half):
        source = half + place if longest else 2 * place
        if not longest and s.kept_ns[source] == 0:
            source += 1
        s.kept_ns[place] = s.kept_ns[source]
        s.kept_key[place] = s.kept_key[source]
    s.kept_ns[half:] = 0
    s.kept_from_ns += half << KEPT_SHIFT_MOST if longest else 0
    s.kept_shift += 0 if longest else 1


@inner
def _off(s: Any, one: int, other: int, t: int, key: float) -> float:
    """How far a frame is from the line through two that were kept; NaN: they were not."""
    if one < 0 or other >= KEPT or s.kept_ns[one] == 0 or s.kept_ns[other] == 0:
        return math.nan
    share = (t - s.kept_ns[one]) / (s.kept_ns[other] - s.kept_ns[one])
    return abs(key - s.kept_key[one] - share * (s.kept_key[other] - s.kept_key[one]))


@inner
def _possible(s: Any, place: int, t: int, key: float) -> bool:
    """Whether the aircraft may have been there at `t`, by the three frames kept nearest, of which one may be wild."""
    behind = _off(s, place, place + 1, t, key)
    across = _off(s, place - 1, place + 1, t, key)
    before = _off(s, place - 1, place, t, key)
    if behind < NEAR or across < NEAR or before < NEAR:
        return True
    return not (behind >= NEAR or across >= NEAR or before >= NEAR)  # nothing there to tell by


@inner
def _again(s: Any, t: int, row: Any) -> int:
    """A late frame is one of the flight so far that comes again: 2 it is, 1 it may turn out to be, 0 it is not."""
    place = (t - s.kept_from_ns) >> s.kept_shift if s.kept_from_ns > 0 else -1
    if not 0 <= place < KEPT:
        return 0
    there_ns, key = s.kept_ns[place], _key(row)
    follows = s.again_ns > 0 and 0 <= t - s.again_ns < FOLLOWING << s.kept_shift
    if (there_ns == t and s.kept_key[place] == key) or (there_ns == 0 and follows):
        s.again_ns = t
        return 2
    if follows:
        return 2
    return 1 if t - s.back_from_ns < UNDECIDED << s.kept_shift and _possible(s, place, t, key) else 0


@inner
def _late(s: Any, m: Any, t: int, ahead: float, row: Any, flags: Any, ints: Any, floats: Any, cursor: Any) -> bool:
    """A frame from before the last one: repeated, out of order, or the clock was set back and now runs on from there."""
    if _repeated(s, t, row):
        earn(flags, TIME_ROW, DUPLICATE, s.last_ns, ints, floats, cursor)
        return False
    if s.hole_from_ns < t < s.hole_to_ns or (ahead > -tu.BACK_S and t < s.origin_ns):
        earn(flags, TIME_ROW, OUT_OF_ORDER, s.last_ns, ints, floats, cursor)
        return False
    follows = s.back_count > 0 and 0 < t - s.back_ns < int(1e9)
    s.back_count = s.back_count + 1 if follows else 1
    s.back_from_ns = s.back_from_ns if follows else t
    s.back_ns = t
    known = _again(s, t, row)
    if known > 0:
        earn(flags, TIME_ROW, DUPLICATE if known == 2 else OUT_OF_ORDER, s.last_ns, ints, floats, cursor)
        return False
    if ahead > -tu.BACK_S and s.back_count < 25:
        earn(flags, TIME_ROW, OUT_OF_ORDER, s.last_ns, ints, floats, cursor)
        return False
    if s.back_count < 5:
        earn(flags, TIME_ROW, OUT_OF_ORDER, s.last_ns, ints, floats, cursor)
        return False
    earn(flags, TIME_ROW, CLOCK_JUMP, s.last_ns, ints, floats, cursor)
    step = int(max(s.frame_dt, 1e-3) * 1e9)
    shift_times(s, m, t - step - s.last_ns)
    s.clip_f += 3  # what was flown between the two clocks is not known: turns become a lower bound
    s.back_count = 0
    return True


@inner
def shift_times(s: Any, m: Any, by: int) -> None:
    """Move every remembered time by `by`, so that durations survive a clock that was set back."""
    s.origin_ns += by
    s.last_ns += by
    s.now_ns += by
    s.taken_ns[:] = 0
    s.kept_from_ns = s.again_ns = 0
    s.hole_from_ns = s.hole_to_ns = 0
    for_times(s, by)
    m.spin_start_ns += by if m.spin_start_ns > 0 else 0
    m.spin_end_ns += by if m.spin_end_ns > 0 else 0
    m.recovery_start_ns += by if m.recovery_start_ns > 0 else 0
    m.phase_since_ns += by if m.phase_since_ns > 0 else 0
    m.level_ns += by if m.level_ns > 0 else 0


@inner
def _moved(value: int, by: int) -> int:
    return value + by if value > 0 else value


@inner
def for_times(s: Any, by: int) -> None:
    """The detector's own times."""
    s.rates_ns = _moved(s.rates_ns, by)
    s.att_ns = _moved(s.att_ns, by)
    s.ref_ns = _moved(s.ref_ns, by)
    s.air_ns = _moved(s.air_ns, by)
    s.beta_ns = _moved(s.beta_ns, by)
    s.before_ns = _moved(s.before_ns, by)
    s.alt_ns = _moved(s.alt_ns, by)
    s.looked_ns = _moved(s.looked_ns, by)
    s.chain_ns = _moved(s.chain_ns, by)
    s.chain_hot_ns = _moved(s.chain_hot_ns, by)
    s.seen_ns = _moved(s.seen_ns, by)
    s.barrier_ns = _moved(s.barrier_ns, by)
    s.joined_ns = _moved(s.joined_ns, by)
    s.nearly_ns = _moved(s.nearly_ns, by)
    s.turn_ns = _moved(s.turn_ns, by)
    s.mode_ns = _moved(s.mode_ns, by)
    s.unstall_ns = _moved(s.unstall_ns, by)
    s.stop_ns = _moved(s.stop_ns, by)
    s.fall_ns = _moved(s.fall_ns, by)
    s.yaw_gone_ns = _moved(s.yaw_gone_ns, by)
    s.flip_ns = _moved(s.flip_ns, by)
    s.belly_ns = _moved(s.belly_ns, by)
    s.near_ns = _moved(s.near_ns, by)
    s.deep_ns = _moved(s.deep_ns, by)
    for control in (PEDAL, STICK):
        s.move_ns[control] = _moved(s.move_ns[control], by)
        s.far_ns[control] = _moved(s.far_ns[control], by)
    s.controls_ns = _moved(s.controls_ns, by)
    s.mark_ns = _moved(s.mark_ns, by)
    s.low_ns = _moved(s.low_ns, by)
    s.last_end_ns = _moved(s.last_end_ns, by)
    s.next_ns = _moved(s.next_ns, by)
    s.lost_ns = _moved(s.lost_ns, by)
