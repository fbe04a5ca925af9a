"""Calibrated to true airspeed through impact pressure and Mach number (compressible, subsonic).

qc = P0 [(1 + 0.2 (CAS/a0)^2)^3.5 - 1], M = sqrt(5 [(qc/p + 1)^(2/7) - 1]), TAS = M a.
Source: isentropic flow relations, gamma = 1.4; docs/method/atmosphere.md.
"""

import math
from typing import Final

from spinfloor.core.compiled import shared
from spinfloor.core.physics.atmosphere import (
    GAS_CONSTANT,
    SEA_LEVEL_PRESSURE_PA,
    SEA_LEVEL_TEMPERATURE_K,
    pressure_pa,
    temperature_k,
)

SEA_LEVEL_SOUND_MPS: Final = math.sqrt(1.4 * GAS_CONSTANT * SEA_LEVEL_TEMPERATURE_K)


@shared
def true_airspeed_mps(calibrated_mps: float, altitude_m: float) -> float:
    """True airspeed [m/s] from calibrated airspeed [m/s] and pressure altitude [m]; Mach below 1."""
    ratio = calibrated_mps / SEA_LEVEL_SOUND_MPS
    impact = SEA_LEVEL_PRESSURE_PA * ((1.0 + 0.2 * ratio * ratio) ** 3.5 - 1.0)
    mach = math.sqrt(5.0 * ((impact / pressure_pa(altitude_m) + 1.0) ** (2.0 / 7.0) - 1.0))
    return float(mach * math.sqrt(1.4 * GAS_CONSTANT * temperature_k(altitude_m)))
