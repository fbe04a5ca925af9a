"""The two other closed forms of a pull-out, which the one in use must lie above. SI and radians.

From the balance n = V^2/(g R) + cos(gamma) of an aircraft structures textbook, section 13.3.1, as derived in
docs/method/pull-out.md; for load factors above 1.
"""

import math

STANDARD_GRAVITY_MPS2 = 9.80665  # exact by definition


def constant_speed_loss_m(speed_mps: float, load_factor: float, dive_angle_rad: float) -> float:
    """Loss when drag holds the speed: (V^2/g) ln[(n - cos gamma)/(n - 1)]. A lower limit."""
    ratio = (load_factor - math.cos(dive_angle_rad)) / (load_factor - 1.0)
    return speed_mps**2 / STANDARD_GRAVITY_MPS2 * math.log(ratio)


def constant_radius_loss_m(speed_mps: float, load_factor: float, dive_angle_rad: float) -> float:
    """Loss on a circle of the radius the load factor gives at the bottom."""
    radius = speed_mps**2 / (STANDARD_GRAVITY_MPS2 * (load_factor - 1.0))
    return radius * (1.0 - math.cos(dive_angle_rad))
