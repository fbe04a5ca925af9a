"""Standard atmosphere below 20 km geopotential and calibrated airspeed, for the simulator (ICAO Doc 7488 constants)."""

import math

import numpy as np
from numba import njit

G0 = 9.80665
GAS = 287.05287
T0 = 288.15
P0 = 101325.0
LAPSE = 0.0065
TROPOPAUSE_M = 11000.0


@njit(cache=True)
def density(h):
    """kg/m^3 at geopotential height h, m."""
    if h < TROPOPAUSE_M:
        temperature = T0 - LAPSE * h
        pressure = P0 * (temperature / T0) ** (G0 / (GAS * LAPSE))
    else:
        temperature = T0 - LAPSE * TROPOPAUSE_M
        pressure = P0 * (temperature / T0) ** (G0 / (GAS * LAPSE))
        pressure *= math.exp(-G0 * (h - TROPOPAUSE_M) / (GAS * temperature))
    return pressure / (GAS * temperature)


def calibrated_airspeed(true_mps: np.ndarray, h: np.ndarray) -> np.ndarray:
    """Calibrated airspeed, m/s, from true airspeed and height (subsonic pitot equation)."""
    temperature = np.where(h < TROPOPAUSE_M, T0 - LAPSE * h, T0 - LAPSE * TROPOPAUSE_M)
    pressure = P0 * (np.minimum(T0, temperature) / T0) ** (G0 / (GAS * LAPSE))
    pressure = pressure * np.where(h > TROPOPAUSE_M, np.exp(-G0 * (h - TROPOPAUSE_M) / (GAS * 216.65)), 1.0)
    mach2 = true_mps**2 / (1.4 * GAS * temperature)
    impact = pressure * ((1.0 + 0.2 * mach2) ** 3.5 - 1.0)
    return np.sqrt(1.4 * GAS * T0 * 5.0 * ((impact / P0 + 1.0) ** (2.0 / 7.0) - 1.0))
