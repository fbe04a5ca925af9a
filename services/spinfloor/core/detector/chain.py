"""A chain: rotation about the vertical above the threshold while stalled, falters bridged. It may become a spin.

Derivation of the back-dated start: docs/method/start-and-end.md. Rates rad/s, angles rad, times int64 ns.
"""

import math
from typing import Any

from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.altitude import height_then


@hot
def stalled_side(s: Any, settings: Any, measured: bool) -> int:
    """+1 stalled upright, -1 stalled inverted, 0 flying; without alpha the direction of rotation stands in for it."""
    if measured:
        if s.alpha_fast >= settings.stall_alpha_upright_rad - tu.STALL_MARGIN_RAD:
            return 1
        if s.alpha_fast <= settings.stall_alpha_inverted_rad + tu.STALL_MARGIN_RAD:
            return -1
        return 0
    if s.mean_p**2 + s.mean_r**2 < tu.START_ROTATION_RADPS**2 * 0.5:
        return 0
    if abs(s.mean_r) < 0.14 * abs(s.mean_p):
        return 0
    return 1 if s.mean_p * s.mean_r > 0.0 else -1


@hot
def step_chain(s: Any, settings: Any, t: int, last_t: int, measured: bool, axis: Any, alt: float) -> None:
    """Begin, keep or drop the chain on this frame: by the vertical with alpha and attitude, by the yaw rate without."""
    dt = (t - last_t) * 1e-9
    by_vertical = measured and s.has_attitude == 1
    if by_vertical:
        _by_vertical(s, settings, t, last_t, axis, alt)
    else:
        _by_yaw(s, settings, t, last_t, axis, alt)
    if s.chain != 0:
        s.chain_side += _side_evidence(s, settings, measured) * dt
        if not by_vertical:
            s.chain = s.chain_yaw if s.chain_side >= 0.0 else -s.chain_yaw
        if s.chain_alt != s.chain_alt:  # there was no altitude yet where it began
            s.chain_alt = height_then(s, t, s.chain_ns, alt)


@hot
def _by_vertical(s: Any, settings: Any, t: int, last_t: int, axis: Any, alt: float) -> None:
    """With alpha and attitude: rotation about the vertical above the threshold while stalled."""
    wv = s.wv_fast
    side = stalled_side(s, settings, True)
    s.stalled_s = side * (max(side * s.stalled_s, 0.0) + (t - last_t) * 1e-9)
    if s.chain != 0 and side == 0:
        s.chain_flying_s += (t - last_t) * 1e-9
        if s.chain_rates == 1:
            s.chain = 0  # alpha is back and says that the wing flies
    up = side != 0 and abs(wv) > tu.START_ROTATION_RADPS and t >= s.barrier_ns
    if s.chain != 0:
        s.least_wv = min(s.least_wv, wv * s.chain)
        if up and wv * s.chain > 0.0:
            _doubt_dip(s)
            s.chain_peak = max(s.chain_peak, abs(wv))
            s.chain_hot_ns = t
        elif (t - s.chain_hot_ns) * 1e-9 > tu.FALTER_S or wv * s.chain < tu.TURNED_BACK_RADPS:
            s.before, s.before_f, s.before_ns = s.chain, s.chain_f, s.chain_hot_ns
            s.chain = 0
    elif s.before != 0:
        s.least_wv = min(s.least_wv, wv * s.before)
    if s.chain == 0 and up:
        fraction = 0.0
        before = abs(s.last_wv_fast)
        crossing = before < tu.START_ROTATION_RADPS and abs(wv) > before
        if crossing:
            fraction = (abs(wv) - tu.START_ROTATION_RADPS) / (abs(wv) - before)
        back = fraction * (t - last_t) * 1e-9 + (tu.FAST_S if crossing else 0.0)
        s.chain = 1 if wv > 0.0 else -1
        brought = abs(wv) > tu.INHERITED_RADPS and not crossing
        rolled = abs(s.wf_fast) > tu.INHERITED_PLANE_RADPS and abs(s.stalled_s) < tu.ROLLED_BEFORE_S
        s.chain_inherited = 1 if brought or rolled else 0
        _begin(s, t, back, axis, alt)
        s.chain_stalled_s = abs(s.stalled_s)
        s.chain_peak = abs(wv)
        _doubt_break(s, t)
        if s.nearly == s.chain and s.nearly_fell == 1:
            s.start_doubt = max(s.start_doubt, abs(s.turned_f - s.nearly_f))
    _follow_nearly(s, side, t)
    s.was_up = 1 if up else 0


@inner
def _follow_nearly(s: Any, side: int, t: int) -> None:
    """Before a chain: a rotation that nearly passed the threshold, fell away and goes on may as well be where it begins."""
    along = s.nearly * s.wv_fast
    if along < tu.TURNED_BACK_RADPS or (t - s.nearly_ns) * 1e-9 > tu.FALTER_S or s.chain != 0:
        s.nearly = s.nearly_fell = 0
    least = tu.START_ROTATION_RADPS - tu.DOUBT_RADPS
    if s.chain != 0 or side == 0 or abs(s.wv_fast) < least or t < s.barrier_ns:
        s.nearly_fell = 1 if s.nearly != 0 else 0
        return
    if s.nearly == 0:
        s.nearly, s.nearly_f = 1 if s.wv_fast > 0.0 else -1, s.turned_f
    s.nearly_ns = t


@inner
def _doubt_dip(s: Any) -> None:
    """The rotation comes back from a dip that nearly was a standstill, or the first time hardly passed the threshold.

    The spin may as well begin here.
    """
    early = s.chain * (s.turned_v - s.chain_v) < tu.DOUBT_VERTICAL_RAD
    hardly = s.was_up == 0 and s.chain_peak < tu.START_ROTATION_RADPS + tu.DOUBT_RADPS
    if early and (s.least_wv < tu.DOUBT_RADPS or hardly):
        s.start_doubt = abs(s.turned_f - s.chain_f)
    s.least_wv = math.inf


@inner
def _doubt_break(s: Any, t: int) -> None:
    """The rotation before had hardly stopped when this one began the same way: the spin may as well have begun with that."""
    if s.before == s.chain and (t - s.before_ns) * 1e-9 < tu.FALTER_S and s.least_wv > -tu.DOUBT_RADPS:
        s.start_doubt = abs(s.turned_f - s.before_f)
    s.before, s.least_wv = 0, math.inf


@hot
def _by_yaw(s: Any, settings: Any, t: int, last_t: int, axis: Any, alt: float) -> None:
    """Without alpha or attitude: the yaw rate stands in for the rotation, because it builds up when the wing lets go.

    A slow steep spin yaws too little for that: there the carried vertical decides, as it does with alpha.
    """
    turning = s.fast_p**2 + s.fast_r**2 > tu.YAW_START_PLANE_RADPS**2
    up = turning and abs(s.fast_r) > tu.YAW_START_RADPS and t >= s.barrier_ns
    stalled = stalled_side(s, settings, s.by_vane == 1) != 0
    slow_up = abs(s.wv_fast) > tu.START_ROTATION_RADPS and t >= s.barrier_ns and stalled
    back = 0.5 * (t - last_t) * 1e-9 + tu.FAST_S
    if s.chain != 0 and up:
        cold = (t - s.chain_hot_ns) * 1e-9 > tu.KICK_S
        hardly = s.chain * (s.turned_v - s.chain_v) < tu.KICK_VERTICAL_RAD
        if hardly and cold and s.chain_yaw * s.fast_r > 0.0:
            _date(s, t, back, alt)
            s.start_doubt = 0.0
    if s.chain != 0:
        _begin_again(s, t, back, alt)
        flies = abs(s.mean_r) < math.tan(tu.LEAST_RATE_ALPHA_RAD) * abs(s.mean_p)
        if (s.by_vane == 1 and not stalled) or (s.by_vane == 0 and flies):
            s.chain_flying_s += (t - last_t) * 1e-9
        yaw = s.chain_yaw * s.fast_r
        if (up or slow_up) and yaw > 0.0:
            s.chain_hot_ns = t
        turned_back = (yaw < 0.0 and s.by_vane == 0) or s.chain * s.wv_fast < 0.0
        cold_s = (t - s.chain_hot_ns) * 1e-9
        if cold_s > tu.COLD_S or (yaw < tu.YAW_LEAST_RADPS and (turned_back or cold_s > tu.FALTER_RATES_S)):
            s.chain = 0
    if s.chain == 0 and (up or slow_up):
        s.chain = 1 if s.fast_r > 0.0 else -1
        s.chain_inherited = 1 if s.fast_p**2 + s.fast_r**2 > tu.INHERITED_PLANE_RADPS**2 else 0
        _begin(s, t, back, axis, alt)
        s.least_wv = math.inf
    s.was_up = 1 if s.chain != 0 and (up or slow_up) else 0


@inner
def _begin_again(s: Any, t: int, back: float, alt: float) -> None:
    """The rotation about the vertical had turned back while the yaw went on, nose going up and over: it begins anew."""
    along = s.chain * s.wv_fast
    s.least_wv = min(s.least_wv, along)
    if s.least_wv < -tu.WENT_BACK_RADPS and along > tu.START_ROTATION_RADPS and s.down_sd < tu.DOWN_SURE_RAD:
        _date(s, t, back, alt)
        s.start_doubt = 0.0
        s.least_wv = math.inf
    elif along < tu.START_ROTATION_RADPS:
        s.start_doubt += max(s.chain * (s.turned_f - s.last_f), 0.0)  # it may as well begin after this


@hot
def _side_evidence(s: Any, settings: Any, measured: bool) -> float:
    """Upright positive: alpha against the stall; without it p and r alike in sign, and down on the belly's side.

    In a flat spin p is small and its sign unsure, but the carried down still points out of the belly.
    """
    if measured:
        if s.alpha_fast > 0.0:
            return min(s.alpha_fast / settings.stall_alpha_upright_rad, 2.0)
        return max(-s.alpha_fast / settings.stall_alpha_inverted_rad, -2.0)
    return rates_side(s)


@inner
def rates_side(s: Any) -> float:
    """Which way up by rates alone, positive upright, about -2.5 to 2.5."""
    norm = s.mean_p**2 + s.mean_r**2 + 0.01
    sure = min(max(1.2 - 3.0 * s.down_sd, 0.0), 1.0)
    return float(2.0 * s.mean_p * s.mean_r / norm + tu.BELLY_WEIGHT * sure * s.flow_z)


@inner
def nose_to_down(s: Any, side: int) -> float:
    """Angle from the nose to the way the aircraft goes [rad], positive on the side's belly: alpha without a vane."""
    return math.atan2(side * s.flow_z, s.flow_x)


@inner
def _begin(s: Any, t: int, back: float, axis: Any, alt: float) -> None:
    """A chain from `back` seconds ago on; its evidence counts from there."""
    s.chain_yaw = 1 if s.fast_r > 0.0 else -1
    _date(s, t, back, alt)
    s.seen_ns, s.seen_f, s.seen_v = s.chain_ns, s.chain_f, s.chain_v
    s.chain_path = axis[0] * s.dx + axis[1] * s.dy + axis[2] * s.dz
    s.chain_side = 0.0
    s.start_doubt = 0.0
    s.chain_flying_s = 0.0
    s.chain_stalled_s = 0.0
    s.chain_rates = 1 - s.by_vane


@inner
def _date(s: Any, t: int, back: float, alt: float) -> None:
    """Date the beginning `back` seconds ago: where the smoothed rotation crossed, less the smoothing's delay."""
    back = min(back, max(0.0, (t - s.barrier_ns) * 1e-9))
    s.chain_ns = t - int(back * 1e9)
    s.chain_f = s.turned_f - back * s.wf_fast
    s.chain_v = s.turned_v - back * 0.5 * (s.wv_fast + s.chain * tu.START_ROTATION_RADPS)
    s.chain_alt = alt + back * s.sink
    s.chain_unsure = s.unsure
    s.chain_clip = s.clip_f
    s.chain_hot_ns = t


@inner
def is_spin(s: Any, settings: Any, t: int, measured: bool) -> bool:
    """Sure enough that the chain is a spin: not a roll, spiral, snap roll, falling leaf, loop or tumble."""
    if s.chain == 0 or s.was_up == 0:
        return False
    age = (t - s.seen_ns) * 1e-9
    about_v = s.chain * (s.turned_v - s.seen_v)
    about_f = s.chain * (s.turned_f - s.seen_f)
    plane = math.sqrt(s.mean_p**2 + s.mean_r**2)
    if s.chain_flying_s > tu.FLYING_SHARE * age or _swings_back(s):
        return False
    if measured:
        # Past the plan's stall angle itself and not on its way out: a snap roll about to fly again is below both.
        if abs(s.alpha_fast) < 0.85 * abs(s.alpha_turn):
            return False
        if settings.stall_alpha_inverted_rad < s.alpha_fast < settings.stall_alpha_upright_rad:
            return False
        if about_v < _needed(s, settings) or age < tu.KNOWN_AGE_S or s.chain * s.wf_fast < tu.KNOWN_ROTATION_RADPS:
            return False
        if about_f < tu.KNOWN_PATH_RAD:
            return False
        share = tu.PITCH_SHARE_EARLY if about_v < tu.KNOWN_VERTICAL_SLOW_RAD else tu.PITCH_SHARE
        if abs(s.mean_q) > share * plane:
            return False
    elif not _rates_say_spin(s, age, about_v):
        return False
    return not _could_be_a_roll(s, age, about_f)


@inner
def _swings_back(s: Any) -> bool:
    """The yaw dies away against the roll while little turns about the vertical: a falling leaf about to swing back."""
    dying = abs(s.fast_r) < math.tan(tu.LEAF_ALPHA_RAD) * abs(s.fast_p)
    return bool(dying and s.chain * s.wv_fast < tu.LEAF_VERTICAL_RADPS)


@inner
def _needed(s: Any, settings: Any) -> float:
    """Rotation about the vertical [rad] that makes a spin known when alpha is measured."""
    past = s.alpha_fast - settings.stall_alpha_upright_rad
    if s.alpha_fast < 0.0:
        past = settings.stall_alpha_inverted_rad - s.alpha_fast
    if past < tu.DEEP_STALL_RAD:
        return tu.KNOWN_VERTICAL_SHALLOW_RAD
    if abs(s.wf_fast) < tu.KNOWN_SLOW_RADPS:
        return tu.KNOWN_VERTICAL_SLOW_RAD
    return tu.KNOWN_VERTICAL_INVERTED_RAD if s.alpha_fast < 0.0 else tu.KNOWN_VERTICAL_RAD


@inner
def _rates_say_spin(s: Any, age: float, about_v: float) -> bool:
    unsure = s.dive == 1 or s.down_sd > tu.DOWN_LOST_RAD
    needed = tu.KNOWN_VERTICAL_DIVE_RAD if unsure else tu.KNOWN_VERTICAL_RATES_RAD
    if about_v < needed or age < tu.KNOWN_AGE_RATES_S:
        return False
    if s.chain * s.wf_fast < tu.KNOWN_ROTATION_RATES_RADPS or s.chain * s.wv_fast < tu.START_ROTATION_RADPS:
        return False
    if s.chain * (s.turned_f - s.seen_f) < tu.KNOWN_PATH_RATES_RAD:
        return False
    plane = math.sqrt(s.slow_p**2 + s.slow_r**2)
    if abs(s.slow_q) > tu.PITCH_SHARE_RATES * plane:
        return False
    return bool(abs(s.slow_r) > math.tan(tu.LEAST_RATE_ALPHA_RAD) * abs(s.slow_p))


@inner
def _could_be_a_roll(s: Any, age: float, about_f: float) -> bool:
    """Rotation brought along, or begun on a steep path, must go on for longer before it is called a spin."""
    if s.chain_inherited == 1 and about_f < tu.INHERITED_TURNS_RAD:
        return True
    if abs(s.chain_path) < tu.STEEP_PATH or s.chain_stalled_s > tu.STALLED_BEFORE_S:
        return False
    needed = tu.STEEP_FAST_TURNS_RAD if abs(s.wf_fast) > tu.FAST_ROLL_RADPS else tu.STEEP_TURNS_RAD
    return bool(about_f < needed or age < tu.STEEP_AGE_S)
