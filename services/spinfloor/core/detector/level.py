"""Level flight after a spin: the lowest point, once the aircraft has climbed from it or stays there.

A climb has to stand out of the noise of the altitude, which the correction of the altimeter's lag makes larger. Made
with the mean sink, which is late, that is low while the sink falls: never early. Then the lowest corrected altitude
around it is looked up, with the sink on both sides of it. Derivation: docs/method/altitude.md.
"""

import math
from typing import Any

from spinfloor.core.compiled import inner
from spinfloor.core.detector.altitude import ENTRY_SPAN_S, bin_before
from spinfloor.core.detector.states import RING_BINS

CLIMB_M = 5.0
CLIMB_NOISE = 4.0  # and no less than this many times the altitude's own
RESTING_S = 1.5
RESTING_MPS = 2.0
SINK_HALF_S = 0.6  # the sink at a bin is the slope between the bins this long before and after it
LOOK_BACK_S = 4.0  # before the lowest point with the mean sink, which comes later than the true one


@inner
def watch_level(s: Any, m: Any, settings: Any, ring: Any, t: int) -> None:
    """Follow the lowest altitude since the spin; `level_now` when it is sure."""
    if s.dive == 0 or s.alt_ns != t:
        return
    lag = settings.altimeter_lag_s
    alt = s.alt + settings.altitude_offset_m - lag * s.sink
    if alt < s.low_alt:
        s.low_alt, s.low_ns = alt, t
    noise = math.sqrt(s.alt_noise2 * (0.3 + (lag / ENTRY_SPAN_S) ** 2))
    climbed = alt - s.low_alt > max(CLIMB_M, CLIMB_NOISE * noise)
    resting = (t - s.low_ns) * 1e-9 > RESTING_S and abs(s.alt_rate) < RESTING_MPS
    if not climbed and not resting:
        return
    s.dive = 0
    m.level_now = 1
    m.level_ns, m.level_altitude_m = s.low_ns, s.low_alt
    if lag > 0.0:
        _look_back(s, m, settings, ring)


@inner
def _look_back(s: Any, m: Any, settings: Any, ring: Any) -> None:
    """The lowest corrected bin of the last seconds, no earlier than the end of the spin, instead of that one."""
    lowest = math.inf
    for back in range(1, min(s.bins, RING_BINS) - 1):
        slot = (s.bins - 1 - back) % RING_BINS
        at_ns = s.origin_ns + int(ring[slot, 0] * 1e9)
        if at_ns < max(s.low_ns - int(LOOK_BACK_S * 1e9), s.last_end_ns):
            return
        height = ring[slot, 1] + settings.altitude_offset_m - settings.altimeter_lag_s * _sink_at(s, ring, back)
        if height < lowest:
            lowest = height
            m.level_ns, m.level_altitude_m = at_ns, height


@inner
def _sink_at(s: Any, ring: Any, back: int) -> float:
    """Sink about the bin `back` bins ago [m/s]."""
    time = ring[(s.bins - 1 - back) % RING_BINS, 0]
    newer = back
    while newer > 0 and ring[(s.bins - 1 - newer) % RING_BINS, 0] - time < SINK_HALF_S:
        newer -= 1
    older = bin_before(ring, s.bins, back, time, SINK_HALF_S)
    a, b = (s.bins - 1 - older) % RING_BINS, (s.bins - 1 - newer) % RING_BINS
    return float((ring[a, 1] - ring[b, 1]) / max(ring[b, 0] - ring[a, 0], 1e-3))
