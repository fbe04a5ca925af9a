"""Is the attitude telemetry alive: does it turn as the gyros say? Times int64 ns, directions unit vectors, rates rad/s.

Attitude and gyros are two witnesses of the same rotation. A stuck, lagging or tumbled attitude source turns otherwise
than the gyros within a few tenths of a second, long before the direction itself looks absurd; and once it turns with
them again its direction is right, however far the carried one has strayed. Method: docs/method/attitude.md.
"""

import math
from typing import Any

from spinfloor.core.compiled import inner
from spinfloor.core.detector import tuning as tu
from spinfloor.core.physics.attitude import carry_vector


@inner
def _begin(s: Any, x: float, y: float, z: float, t: int) -> None:
    s.ref_x, s.ref_y, s.ref_z, s.ref_ns = x, y, z, t


@inner
def check_attitude(s: Any, x: float, y: float, z: float, t: int, elapsed: float, gyros_whole: bool) -> bool:
    """Take in one attitude's down (x, y, z), `elapsed` s after the last; True when it has just become believed again.

    Over each ATTITUDE_CHECK_S the down of its beginning, carried by the gyros, is held against the down of its end.
    When they part the attitude is not believed and that carried down is given back to the detector.
    """
    s.ref_x, s.ref_y, s.ref_z = carry_vector(s.ref_x, s.ref_y, s.ref_z, s.int_p, s.int_q, s.int_r)
    if s.ref_ns == 0 or elapsed > 0.3 or not gyros_whole:
        _begin(s, x, y, z, t)
        return False
    age = (t - s.ref_ns) * 1e-9
    if age < tu.ATTITUDE_CHECK_S:
        return False
    miss = math.acos(min(1.0, max(-1.0, x * s.ref_x + y * s.ref_y + z * s.ref_z))) / age
    back = False
    if miss > tu.ATTITUDE_BAD_RADPS:
        if s.att_bad == 0:
            s.dx, s.dy, s.dz = s.ref_x, s.ref_y, s.ref_z
        s.att_bad = 1
        s.att_good = 0
    else:
        s.att_good += 1
        back = s.att_bad == 1 and s.att_good >= tu.ATTITUDE_GOOD_CHECKS
        if back:
            s.att_bad = 0
    _begin(s, x, y, z, t)
    return bool(back)
