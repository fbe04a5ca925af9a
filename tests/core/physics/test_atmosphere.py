"""Standard atmosphere against table rows and the `ambiance` library (ICAO 1993); airspeed against worked rows."""

import math

import ambiance
import numpy as np
import pytest
from numpy.testing import assert_allclose
from tests.authorities.atmosphere_rows import CAS_TAS, ISA

from spinfloor.core.physics.airspeed import true_airspeed_mps
from spinfloor.core.physics.atmosphere import (
    altimeter_setting_offset_m,
    altitude_of_pressure_m,
    pressure_pa,
    temperature_k,
)

FT, KT = 0.3048, 1852.0 / 3600.0
GAS_CONSTANT = 287.05287  # J/(kg K), of dry air: ISO 2533


@pytest.mark.parametrize(("h_ft", "t", "p", "rho"), ISA)
def test_table(h_ft: float, t: float, p: float, rho: float) -> None:
    assert_allclose(temperature_k(h_ft * FT), t, atol=6e-4)  # printed to a thousandth
    assert_allclose(pressure_pa(h_ft * FT), p, atol=0.06)
    assert_allclose(pressure_pa(h_ft * FT) / (GAS_CONSTANT * temperature_k(h_ft * FT)), rho, atol=6e-6)
    assert_allclose(altitude_of_pressure_m(p) / FT, h_ft, atol=0.1)


def test_against_ambiance() -> None:
    geopotential = np.linspace(0.0, 19_000.0, 39)
    air = ambiance.Atmosphere(ambiance.CONST.r * geopotential / (ambiance.CONST.r - geopotential))
    assert_allclose([pressure_pa(h) for h in geopotential], air.pressure, rtol=2e-6)
    assert_allclose([temperature_k(h) for h in geopotential], air.temperature, rtol=1e-7)


@pytest.mark.parametrize(("cas", "h_ft", "tas"), CAS_TAS)
def test_true_airspeed(cas: float, h_ft: float, tas: float) -> None:
    assert_allclose(true_airspeed_mps(cas * KT, h_ft * FT) / KT, tas, atol=2e-3)


def test_altimeter_setting() -> None:
    """About 27 ft per hectopascal near sea level (common practice, no source); lower setting, lower reading."""
    assert altimeter_setting_offset_m(1013.25) == pytest.approx(0.0, abs=1e-9)
    per_hpa = (altimeter_setting_offset_m(1014.25) - altimeter_setting_offset_m(1013.25)) / FT
    assert 26.5 < per_hpa < 28.5
    assert math.copysign(1, altimeter_setting_offset_m(990.0)) == -1
