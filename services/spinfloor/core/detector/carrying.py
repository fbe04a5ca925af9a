"""Motion carried on while the altitude, or every frame, is missing: downwards and round, ever less sure.

Metres, m/s, rad, seconds. Derivation: docs/method/carrying.md.
"""

import math
from typing import Any

from spinfloor.core import channels as ch
from spinfloor.core.compiled import inner
from spinfloor.core.detector.altitude import TREND_LASTS, corrected, corrected_sd
from spinfloor.core.recovery.conditions import lead_s

# A sink that builds up goes on doing so, ever less, over this long; in a young spin towards the sink that the plan expects,
# no slower than this.
SETTLES_S = 2.5
BUILDS_MPS2 = 6.0
# After the spin the sink goes on as (1 + 2 x) exp(-x), x in units of this since its end: a dive, then the pull-out. This share of
# the way meanwhile is its uncertainty.
DIVE_S = 4.0
DIVE_SHARE = 0.3
# The sink of the next seconds is known to within this share of itself and this much; and its build-up, see altitude.py.
SINK_SHARE = 0.15
SINK_SD_MPS = 2.0
# So is the rotation; while a spin is young it still builds up.
ROTATION_SHARE = 0.2
ROTATION_SD_RADPS = 0.1
YOUNG_TURNS = 2.0
YOUNG_SHARE = 0.4
ALIKE_TURNS = 1.5  # flown, and the path is near vertical
# A long gap is one of the data, not of the clock, when ticks told it up to this near its end, or the altitude fell by what
# it had to, within this share and this much.
TOLD_NS = 2_000_000_000
FELL_SHARE = 0.4
FELL_M = 30.0
STILL_SHARE = 0.4  # of the rotation before: less after the gap, and the spin ended in it


@inner
def _building_up_s2(age: float, over_s: float) -> float:
    """What a build-up of 1 m/s2 that dies away over `over_s` adds to the way in `age` seconds [s2]."""
    return float(over_s * age - over_s * over_s * (1.0 - math.exp(-age / over_s)))


@inner
def _build_up(s: Any, m: Any, settings: Any) -> tuple[float, float]:
    """Change of the sink [m/s2] and the time over which it dies away [s]."""
    spinning = m.in_spin == 1 or (s.dive == 1 and s.alt_ns < s.last_end_ns)
    young = spinning and abs(s.alt_f - s.spin_f) < YOUNG_TURNS * 2.0 * math.pi
    to_come = settings.expected_sink_mps - s.sink_now
    if not young or to_come < s.sink_trend * SETTLES_S:
        return float(s.sink_trend), SETTLES_S
    change = max(s.sink_trend, BUILDS_MPS2)
    return float(change), float(max(to_come / change, 0.5))


@inner
def _parts(s: Any, age: float) -> tuple[float, float]:
    """Seconds of `age` before the end of the last spin, or without a dive, and seconds of it in the dive."""
    if s.dive == 0:
        return age, 0.0
    in_dive = min(max((s.alt_ns - s.last_end_ns) * 1e-9 + age, 0.0), age)
    return age - in_dive, in_dive


@inner
def _sink_then(s: Any, change: float, over_s: float, age: float) -> float:
    """Sink after `age` seconds of that build-up, no pull-out yet [m/s]."""
    return float(s.sink_now + change * over_s * (1.0 - math.exp(-age / over_s)))


@inner
def _dive_then_s(s: Any) -> float:
    """How long the dive had gone on at the last altitude [s]."""
    return max((s.alt_ns - s.last_end_ns) * 1e-9, 0.0)


@inner
def _dive_sink(since_end: float) -> float:
    """Sink so long after the end of a spin, as a multiple of that at the end."""
    x = since_end / DIVE_S
    return (1.0 + 2.0 * x) * math.exp(-x)


@inner
def _dive_way_s(since_end: float) -> float:
    """Way still to come after that, for a sink of 1 m/s at the end [s]: the integral of `_dive_sink` from there on."""
    x = since_end / DIVE_S
    return DIVE_S * (3.0 + 2.0 * x) * math.exp(-x)


@inner
def _in_dive_s(s: Any, in_dive: float) -> float:
    """What a sink of 1 m/s before it adds to the way in the last `in_dive` seconds, flown in the dive [s]."""
    if in_dive <= 0.0:
        return 0.0
    then = _dive_then_s(s)
    return (_dive_way_s(then) - _dive_way_s(then + in_dive)) / _dive_sink(then)


@inner
def carried_altitude(s: Any, m: Any, settings: Any, age: float) -> float:
    """Corrected altitude `age` seconds after the last one that could be believed [m]; NaN before the first."""
    if s.alt_ns == 0:
        return math.nan
    if age <= 0.0:
        return float(corrected(s, settings))
    spinning, in_dive = _parts(s, age)
    change, over_s = _build_up(s, m, settings)
    late = settings.altimeter_lag_s * s.sink_trend  # a lagging altimeter shows the sink of then
    fallen = (s.sink_now + late) * spinning + change * _building_up_s2(spinning, over_s)
    fallen += (_sink_then(s, change, over_s, spinning) + late) * _in_dive_s(s, in_dive)
    last = corrected(s, settings)
    height = last - fallen
    if height < settings.ground_m:  # nobody flies below it; a ground that is set too high lifts nobody
        height = min(settings.ground_m, last)
    return float(height)


@inner
def carried_sink(s: Any, m: Any, settings: Any, age: float) -> float:
    """Sink by then [m/s], in a spin no less than the mean of the last span."""
    spinning, in_dive = _parts(s, age)
    change, over_s = _build_up(s, m, settings)
    then = max(float(s.sink), _sink_then(s, change, over_s, spinning))
    if in_dive <= 0.0:
        return then
    before = _dive_then_s(s)
    return then * _dive_sink(before + in_dive) / _dive_sink(before)


@inner
def sink_ahead(s: Any, m: Any, settings: Any, age: float) -> float:
    """Mean sink over the lead to come, `age` seconds after the last altitude [m/s]: that of its middle.

    A lagging altimeter shows the sink of then.
    """
    return carried_sink(s, m, settings, age + settings.altimeter_lag_s + 0.5 * lead_s(settings))


@inner
def carried_altitude_sd(s: Any, m: Any, settings: Any, age: float) -> float:
    """Its standard uncertainty [m]; NaN before the first altitude."""
    if s.alt_ns == 0:
        return math.nan
    spinning, in_dive = _parts(s, age)
    build_up, over_s = _build_up(s, m, settings)
    late = settings.altimeter_lag_s * s.sink_trend_sd
    sink = (s.sink_now_sd + late + SINK_SHARE * abs(s.sink_now) + SINK_SD_MPS) * (spinning + _in_dive_s(s, in_dive))
    change = max(s.sink_trend_sd, TREND_LASTS * abs(build_up)) * _building_up_s2(spinning, over_s)
    pull_out = DIVE_SHARE * _sink_then(s, build_up, over_s, spinning) * _in_dive_s(s, in_dive)
    return math.sqrt(corrected_sd(s, settings) ** 2 + sink * sink + change * change + pull_out * pull_out)


@inner
def carried_rotation(s: Any, sense: int, turns: float) -> float:
    """Rotation about the flight path to go on with [rad/s]: the turn's mean, in a young spin no less than what it is now."""
    mean = sense * s.wf_turn
    if turns < YOUNG_TURNS:
        mean = max(mean, 0.5 * (mean + sense * s.wf_fast))
    return float(mean)


@inner
def vertical_share(s: Any) -> float:
    """Turns about the vertical for one about the path: alike once the path is vertical, before as in this spin so far."""
    about_path = s.turned_f - s.spin_f
    if abs(about_path) < 1.0 or abs(about_path) > ALIKE_TURNS * 2.0 * math.pi:
        return 1.0
    return float((s.turned_v - s.spin_v) / about_path)


@inner
def carried_turn_sd(rotation: float, turns: float, age: float) -> float:
    """Standard uncertainty of what was turned in `age` seconds [rad]."""
    share = YOUNG_SHARE if turns < YOUNG_TURNS else ROTATION_SHARE
    return (share * abs(rotation) + ROTATION_SD_RADPS) * age


@inner
def really_flown(s: Any, row: Any, t: int, dt: float) -> bool:
    """Whether the `dt` seconds since the last frame were flown, and not a clock that was set forward."""
    if s.lost == 1 and t - s.now_ns < TOLD_NS:
        return True
    fell = s.alt - row[ch.PRESSURE_ALTITUDE]
    expected = s.sink_now * dt
    return bool(expected > 0.0 and abs(fell - expected) < FELL_SHARE * expected + FELL_M)


@inner
def carry_turns(s: Any, sense: int, row: Any, dt: float) -> None:
    """Add to the turns of a spin what was carried over a gap of `dt` seconds, half of it if it ended in there."""
    so_far = sense * (s.turned_f - s.spin_f) / (2.0 * math.pi)
    rotation = carried_rotation(s, sense, so_far)
    turned = rotation * dt
    sd = carried_turn_sd(rotation, so_far, dt)
    if math.hypot(row[ch.ROLL_RATE], row[ch.YAW_RATE]) < STILL_SHARE * rotation:
        turned, sd = 0.5 * turned, max(sd, 0.3 * turned)
    share = vertical_share(s)
    s.turned_f += sense * turned
    s.turned_v += sense * turned * share
    s.unsure += sd * sd
    s.down_sd = s.nose_sd = 1.0  # which way was down has turned unseen
