"""Altitude: a tracking filter, a ring of 0.1 s means, sink over a whole turn, setting and lag correction.

Metres and seconds. Derivations: docs/method/altitude.md.
"""

import math
from typing import Any

from spinfloor.core import channels as ch
from spinfloor.core.compiled import hot, inner
from spinfloor.core.detector.states import RING_BINS, RING_SECONDS
from spinfloor.core.physics.airspeed import true_airspeed_mps

TRACK_S = 0.35
# Static-source and scale error that no filter can see, of a calibrated installation (common practice, no source).
INSTRUMENT_SD_M = 4.0


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
    s.alt_ns = t
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
    s.alt_noise2 += min(dt / (2.0 + dt), 1.0) * (error * error - s.alt_noise2)


@inner
def step_sink(s: Any, ring: Any, period: float) -> None:
    """Sink as the height difference over one turn (pitot-static errors repeat once per turn), else over 1.5 s."""
    n = min(s.bins, RING_BINS)
    if n < 4:
        s.sink, s.sink_sd = -s.alt_rate, 20.0
        return
    span = 1.5
    if period == period:
        span = min(max(period, 0.8), 8.0)
    last = (s.bins - 1) % RING_BINS
    t1, h1 = ring[last, 0], ring[last, 1]
    older = 1
    slot = last
    while older < n:
        slot = (s.bins - 1 - older) % RING_BINS
        if t1 - ring[slot, 0] >= span:
            break
        older += 1
    if older >= n:
        older = n - 1
        slot = (s.bins - 1 - older) % RING_BINS
    elapsed = t1 - ring[slot, 0]
    if elapsed < 0.25:
        s.sink, s.sink_sd = -s.alt_rate, 10.0
        return
    s.sink = (ring[slot, 1] - h1) / elapsed
    s.sink_sd = math.sqrt(s.alt_noise2 * 0.5 + 0.05) / elapsed + 0.02 * abs(s.sink)


@inner
def step_airspeed(s: Any, clean: Any) -> None:
    """Refresh the ratio of true to calibrated airspeed (slow change, so once per ring bin is enough)."""
    cas = clean[ch.CALIBRATED_AIRSPEED]
    if cas == cas and 5.0 < cas < 320.0:
        s.tas_ratio = true_airspeed_mps(cas, s.alt) / cas


@hot
def corrected(s: Any, settings: Any) -> float:
    """Altitude in the floors' datum: tracked reading + setting offset + lag x climb rate (a lagging reading is high)."""
    return float(s.alt + settings.altitude_offset_m - settings.altimeter_lag_s * s.sink)


@inner
def corrected_sd(s: Any, settings: Any) -> float:
    """Standard uncertainty of `corrected`: instrument, tracker noise, sink error, an assumed 30 % of the lag correction."""
    lag = settings.altimeter_lag_s
    return math.sqrt(INSTRUMENT_SD_M**2 + s.alt_noise2 * 0.3 + (lag * s.sink_sd) ** 2 + (0.3 * lag * s.sink) ** 2)
