"""Height lost in a dive pull-out from a steady path below the horizon.

Balance n = V^2/(g R) + cos(gamma), so d(gamma)/dt = -g (n - cos gamma)/V. Derived in docs/method/pull-out.md, with
the two forms that lose less. SI and radians; speeds are true airspeeds.
"""

import math

import numpy as np

from spinfloor.core.compiled import entry
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.units import STANDARD_GRAVITY_MPS2


class PullOutError(SpinfloorError):
    """No pull-out exists for these values."""

    code = "no-pull-out"
    http_status = 422


@entry
def constant_load_loss_m(speed_mps: float, load_factor: float, dive_angle_rad: float) -> float:
    """Constant load factor, no drag (the safe side): V (n - cos gamma) is constant, loss = (V1^2 - V0^2)/2g.

    NaN for a load factor of 1 or less: there is no pull-out.
    """
    if not load_factor > 1.0:
        return np.nan
    ratio = (load_factor - math.cos(dive_angle_rad)) / (load_factor - 1.0)
    return speed_mps * speed_mps * (ratio * ratio - 1.0) / (2.0 * STANDARD_GRAVITY_MPS2)


def _check(speed_mps: float, load_factor: float, dive_angle_rad: float) -> None:
    good = load_factor > 1.0 and speed_mps > 0.0 and 0.0 <= dive_angle_rad <= math.pi / 2 + 1e-12
    if not (good and math.isfinite(load_factor) and math.isfinite(speed_mps)):
        raise PullOutError(
            expected="a pull-out with load factor above 1 g, a positive speed and a dive angle of 0 to 90 degrees",
            got=f"{load_factor:g} g, {speed_mps:g} m/s and {math.degrees(dive_angle_rad):g} degrees",
            now="no height is given, because at 1 g or less the path never comes level",
            load_factor=load_factor,
        )


def pull_out_loss_m(speed_mps: float, load_factor: float, dive_angle_rad: float) -> float:
    """Loss at constant load factor without drag, the form the tool uses. Raises PullOutError."""
    _check(speed_mps, load_factor, dive_angle_rad)
    return float(constant_load_loss_m(speed_mps, load_factor, dive_angle_rad))
