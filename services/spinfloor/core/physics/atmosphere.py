"""International Standard Atmosphere (ISO 2533, ICAO Doc 7488) to 20 km geopotential, and the altimeter setting.

Geopotential altitude in metres. Derivation of the layer formulas: docs/method/atmosphere.md.
"""

import math
from typing import Final

from spinfloor.core.compiled import shared

SEA_LEVEL_TEMPERATURE_K: Final = 288.15
SEA_LEVEL_PRESSURE_PA: Final = 101_325.0
LAPSE_KPM: Final = 0.0065
GAS_CONSTANT: Final = 287.05287
GRAVITY_MPS2: Final = 9.80665
TROPOPAUSE_M: Final = 11_000.0
TROPOPAUSE_TEMPERATURE_K: Final = SEA_LEVEL_TEMPERATURE_K - LAPSE_KPM * TROPOPAUSE_M
EXPONENT: Final = GRAVITY_MPS2 / (LAPSE_KPM * GAS_CONSTANT)
TROPOPAUSE_PRESSURE_PA: Final = SEA_LEVEL_PRESSURE_PA * (TROPOPAUSE_TEMPERATURE_K / SEA_LEVEL_TEMPERATURE_K) ** EXPONENT
SCALE_HEIGHT_M: Final = GAS_CONSTANT * TROPOPAUSE_TEMPERATURE_K / GRAVITY_MPS2


@shared
def pressure_pa(altitude_m: float) -> float:
    """Static pressure [Pa] at geopotential altitude [m]; troposphere power law, isothermal above 11 km."""
    if altitude_m <= TROPOPAUSE_M:
        return float(
            SEA_LEVEL_PRESSURE_PA
            * ((SEA_LEVEL_TEMPERATURE_K - LAPSE_KPM * altitude_m) / SEA_LEVEL_TEMPERATURE_K) ** EXPONENT
        )
    return float(TROPOPAUSE_PRESSURE_PA * math.exp(-(altitude_m - TROPOPAUSE_M) / SCALE_HEIGHT_M))


@shared
def temperature_k(altitude_m: float) -> float:
    """Temperature [K] at geopotential altitude [m]."""
    if altitude_m <= TROPOPAUSE_M:
        return float(SEA_LEVEL_TEMPERATURE_K - LAPSE_KPM * altitude_m)
    return float(TROPOPAUSE_TEMPERATURE_K)


def altitude_of_pressure_m(pressure: float) -> float:
    """Pressure altitude [m] of a static pressure [Pa]; the inverse of `pressure_pa`."""
    if pressure >= TROPOPAUSE_PRESSURE_PA:
        return SEA_LEVEL_TEMPERATURE_K / LAPSE_KPM * (1.0 - (pressure / SEA_LEVEL_PRESSURE_PA) ** (1.0 / EXPONENT))
    return TROPOPAUSE_M - SCALE_HEIGHT_M * math.log(pressure / TROPOPAUSE_PRESSURE_PA)


def altimeter_setting_offset_m(setting_hpa: float) -> float:
    """What to add to pressure altitude [m] for an altimeter set to `setting_hpa`; 0 at 1013.25 hPa.

    An altimeter's sub-scale shifts the reading by the pressure altitude of the setting, so the shift is constant.
    """
    return -altitude_of_pressure_m(setting_hpa * 100.0)
