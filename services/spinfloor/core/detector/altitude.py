"""Altitude: a tracking filter, a ring of 0.1 s means, sink over a whole turn, setting and lag correction.

Metres and seconds. Derivations: docs/method/altitude.md.
"""

import math
from typing import Any

from spinfloor.core import channels as ch
from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.detector.states import RING_BINS, RING_SECONDS
from spinfloor.core.physics.airspeed import true_airspeed_mps

TRACK_S = 0.35
# Static-source and scale error that no filter can see, of a calibrated installation (common practice, no source).
INSTRUMENT_SD_M = 4.0
# Sink is a mean over this long until a turn's period is known; the present sink, until that many turns are flown.
ENTRY_SPAN_S = 1.5
NOISE_STEP_M2 = 4.0
SETTLING_TURNS = 2.0
SINK_UNKNOWN_S = 0.5  # so long a fall may be left out where the sink is not known yet
TREND_SHARE = 0.3  # of what the mean is brought forward by, as a standard deviation
TREND_LASTS = 0.5  # of the trend itself, because nobody knows how long it lasts


@hot
def step_altitude(s: Any, clean: Any, ring: Any, t: int) -> bool:
    """Take this frame's altitude; True when a ring bin was closed (about every 0.1 s)."""
    h = clean[ch.PRESSURE_ALTITUDE]
    if h != h:
        return False
    seconds = (t - s.origin_ns) * 1e-9
    if s.alt_ns == 0:
        s.alt, s.alt_rate = h, 0.0
        s.bin_start = seconds
    else:
        _track(s, h, (t - s.alt_ns) * 1e-9)
    every = (t - s.alt_ns) * 1e-9 if s.alt_ns > 0 else 0.0
    s.alt_every_s += 0.1 * (min(every, tu.SLOWEST_CHANNEL_S) - s.alt_every_s)
    s.alt_ns = t
    s.alt_f = s.turned_f
    s.bin_sum += h
    s.bin_time += seconds
    s.bin_count += 1
    if seconds - s.bin_start < RING_SECONDS:
        return False
    slot = s.bins % RING_BINS
    ring[slot, 0] = s.bin_time / s.bin_count
    ring[slot, 1] = s.bin_sum / s.bin_count
    s.bins += 1
    s.bin_sum = s.bin_time = 0.0
    s.bin_count = 0
    s.bin_start = seconds
    return True


@hot
def _track(s: Any, h: float, dt: float) -> None:
    """Second-order tracker, critically damped at 1/TRACK_S rad/s; no lag on a steady sink."""
    w = dt / TRACK_S
    a = w * (2.0 + w) / (1.0 + w) ** 2
    b = w * w / (1.0 + w) ** 2
    predicted = s.alt + s.alt_rate * dt
    error = h - predicted
    if dt > 3.0:
        s.alt, s.alt_rate = h, (h - s.alt) / dt
        return
    s.alt = predicted + a * error
    s.alt_rate += b / dt * error
    noise2 = min(error * error, 9.0 * s.alt_noise2 + NOISE_STEP_M2)  # a step over a gap is no noise
    s.alt_noise2 += min(dt / (2.0 + dt), 1.0) * (noise2 - s.alt_noise2)


@inner
def bin_before(ring: Any, bins: int, first: int, t: float, span: float) -> int:
    """How many bins back, from `first` back on, the one lies that is `span` seconds older than `t`; the oldest at most."""
    n = min(bins, RING_BINS)
    back = first
    while back < n and t - ring[(bins - 1 - back) % RING_BINS, 0] < span:
        back += 1
    return min(back, n - 1)


@inner
def _no_trend(s: Any) -> None:
    """The mean sink is all that is known of the present one."""
    s.sink_now, s.sink_now_sd, s.sink_trend, s.sink_trend_sd = s.sink, s.sink_sd, 0.0, 0.0


@inner
def step_sink(s: Any, ring: Any, period: float, turns: float) -> None:
    """Sink as the height difference over one turn (pitot-static errors repeat once per turn), else over 1.5 s."""
    if min(s.bins, RING_BINS) < 4:
        s.sink, s.sink_sd = -s.alt_rate, 20.0
        _no_trend(s)
        return
    span = ENTRY_SPAN_S
    if period == period:
        span = min(max(period, 0.8), 8.0)
    last = (s.bins - 1) % RING_BINS
    t1, h1 = ring[last, 0], ring[last, 1]
    slot = (s.bins - 1 - bin_before(ring, s.bins, 1, t1, span)) % RING_BINS
    elapsed = t1 - ring[slot, 0]
    if elapsed < 0.25:
        s.sink, s.sink_sd = -s.alt_rate, 10.0
        _no_trend(s)
        return
    noise = math.sqrt(s.alt_noise2 * 0.5 + 0.05)
    s.sink = (ring[slot, 1] - h1) / elapsed
    s.sink_sd = noise / elapsed + 0.02 * abs(s.sink)
    _sink_now(s, ring, span if turns >= SETTLING_TURNS else min(span, ENTRY_SPAN_S), noise)


@inner
def _sink_now(s: Any, ring: Any, span: float, noise: float) -> None:
    """The mean sink of the last span brought forward to now by its change since the span before: for the lag and what is carried on.

    A mean is half a span old, and while the sink builds up that much too small: the unsafe side. A change that noise
    could have made is not brought forward.
    """
    last = s.bins - 1
    t1, h1 = ring[last % RING_BINS, 0], ring[last % RING_BINS, 1]
    one = bin_before(ring, s.bins, 1, t1, span)
    t2, h2 = ring[(last - one) % RING_BINS, 0], ring[(last - one) % RING_BINS, 1]
    two = bin_before(ring, s.bins, one, t2, span)
    t3, h3 = ring[(last - two) % RING_BINS, 0], ring[(last - two) % RING_BINS, 1]
    if t1 - t2 < 0.25 or t2 - t3 < 0.25:
        _no_trend(s)
        return
    newer, older = (h2 - h1) / (t1 - t2), (h3 - h2) / (t2 - t3)
    trend = 2.0 * (newer - older) / (t1 - t3)
    trend_sd = 4.9 * noise / ((t1 - t3) * (t2 - t3))
    s.sink_trend = trend * trend * trend / (trend * trend + trend_sd * trend_sd + 1e-12)
    half = 0.5 * (t1 - t2)
    left = abs(trend - s.sink_trend)  # may have been noise, and may not
    s.sink_trend_sd = left + TREND_LASTS * abs(s.sink_trend)
    s.sink_now = newer + half * s.sink_trend
    s.sink_now_sd = noise * 0.7 / half + 0.02 * abs(newer) + half * (left + TREND_SHARE * abs(s.sink_trend))


@inner
def height_then(s: Any, t: int, when: int, height: float) -> float:
    """The altitude at `when` by that of now and the sink; NaN as long as the sink is not known for so far back."""
    back = (t - when) * 1e-9
    if s.bins * RING_SECONDS < ENTRY_SPAN_S and back > SINK_UNKNOWN_S:
        return math.nan
    return float(height + back * s.sink)


@inner
def step_airspeed(s: Any, clean: Any) -> None:
    """Refresh the ratio of true to calibrated airspeed (slow change, so once per ring bin is enough)."""
    cas = clean[ch.CALIBRATED_AIRSPEED]
    if cas == cas and 5.0 < cas < 320.0:
        s.tas_ratio = true_airspeed_mps(cas, s.alt) / cas


@hot
def corrected(s: Any, settings: Any) -> float:
    """Altitude in the floors' datum: tracked reading + setting offset + lag x climb rate (a lagging reading is high)."""
    return float(s.alt + settings.altitude_offset_m - settings.altimeter_lag_s * s.sink_now)


@inner
def corrected_sd(s: Any, settings: Any) -> float:
    """Standard uncertainty of `corrected`: instrument, tracker noise, sink error, an assumed 30 % of the lag correction."""
    lag = settings.altimeter_lag_s
    sink = (lag * s.sink_now_sd) ** 2 + (0.3 * lag * s.sink_now) ** 2
    return math.sqrt(INSTRUMENT_SD_M**2 + s.alt_noise2 * 0.3 + sink)
