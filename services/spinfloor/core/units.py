"""Unit conversions used at the edges. Inside the core everything is SI and radians.

Exact by definition: 1 ft = 0.3048 m (international foot), 1 nautical mile = 1852 m,
g0 = 9.80665 m/s^2 (standard acceleration of free fall, ISO 80000-3).
"""

import math
from typing import Final

METRES_PER_FOOT: Final = 0.3048
METRES_PER_SECOND_PER_KNOT: Final = 1852.0 / 3600.0
RADIANS_PER_DEGREE: Final = math.pi / 180.0
STANDARD_GRAVITY_MPS2: Final = 9.80665
NANOSECONDS_PER_SECOND: Final = 1_000_000_000
