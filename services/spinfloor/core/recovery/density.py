"""The dive and pull-out at another height: losses go with the inverse of the air density. Compiled.

At the same indicated speeds every true speed goes with 1/sqrt(density) and every radius with 1/density, so a loss learnt
at one height is carried to another by the ratio of densities. What is learnt, and the plan's pull-out figures, hold at
10,000 ft in the standard atmosphere. Derived in docs/method/pull-out.md, "At another height".
"""

from typing import Final

import numpy as np

from spinfloor.core.compiled import entry
from spinfloor.core.physics.atmosphere import (
    EXPONENT,
    LAPSE_KPM,
    SCALE_HEIGHT_M,
    SEA_LEVEL_TEMPERATURE_K,
    TROPOPAUSE_M,
    TROPOPAUSE_TEMPERATURE_K,
)

REFERENCE_M: Final = 3048.0  # 10,000 ft pressure altitude
_REFERENCE_K: Final = SEA_LEVEL_TEMPERATURE_K - LAPSE_KPM * REFERENCE_M
_TROPOPAUSE_RATIO: Final = (TROPOPAUSE_TEMPERATURE_K / _REFERENCE_K) ** (EXPONENT - 1.0)


@entry
def density_ratio(pressure_altitude_m: float) -> float:
    """Standard air density at a pressure altitude over that at 10,000 ft; 1 where the altitude is not known."""
    if np.isnan(pressure_altitude_m):
        return 1.0
    if pressure_altitude_m <= TROPOPAUSE_M:
        temperature = SEA_LEVEL_TEMPERATURE_K - LAPSE_KPM * pressure_altitude_m
        return (temperature / _REFERENCE_K) ** (EXPONENT - 1.0)
    return _TROPOPAUSE_RATIO * np.exp(-(pressure_altitude_m - TROPOPAUSE_M) / SCALE_HEIGHT_M)
