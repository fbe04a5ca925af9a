"""Carrying attitude: Earth's down direction in body axes, turned by the body rates.

Body axes x forward, y right, z down; down is a unit vector (dx, dy, dz), rotations are right-handed rotation vectors
in radians (rate times time, constant over a step). Derivations: docs/method/attitude.md.
"""

import math

from spinfloor.core.compiled import shared


@shared
def rodrigues_coefficients(angle2: float) -> tuple[float, float]:
    """sin(a)/a and (1 - cos(a))/a^2 from a^2 [rad^2]; series below 0.09 rad^2, exact to 1e-15 relative.

    Source: Rodrigues' rotation formula; Taylor series of sine and cosine, derived here.
    """
    if angle2 < 0.09:
        s = 1.0 - angle2 / 6.0 * (1.0 - angle2 / 20.0 * (1.0 - angle2 / 42.0 * (1.0 - angle2 / 72.0)))
        c = 0.5 * (1.0 - angle2 / 12.0 * (1.0 - angle2 / 30.0 * (1.0 - angle2 / 56.0 * (1.0 - angle2 / 90.0))))
        return s, c
    angle = math.sqrt(angle2)
    return math.sin(angle) / angle, (1.0 - math.cos(angle)) / angle2


@shared
def carry_vector(x: float, y: float, z: float, a: float, b: float, c: float) -> tuple[float, float, float]:
    """A direction fixed in the Earth, (x, y, z) in body axes, after the body has turned by (a, b, c) rad.

    The body turns by +w, so the components turn by -w: v' = R(-w) v, exact for constant rate over the step.
    """
    s, k = rodrigues_coefficients(a * a + b * b + c * c)
    dot = a * x + b * y + c * z
    cx = b * z - c * y
    cy = c * x - a * z
    cz = a * y - b * x
    # R(-w) v = v - s (w x v) + k (w x (w x v)), and w x (w x v) = w (w.v) - v |w|^2
    w2 = a * a + b * b + c * c
    return (
        x - s * cx + k * (a * dot - x * w2),
        y - s * cy + k * (b * dot - y * w2),
        z - s * cz + k * (c * dot - z * w2),
    )


@shared
def down_from_euler(roll: float, pitch: float) -> tuple[float, float, float]:
    """Down in body axes from bank and pitch [rad]: third column of the Earth-to-body matrix (z-y-x order)."""
    cp = math.cos(pitch)
    return -math.sin(pitch), math.sin(roll) * cp, math.cos(roll) * cp


@shared
def down_from_quaternion(w: float, x: float, y: float, z: float) -> tuple[float, float, float]:
    """Down in body axes from a body-to-Earth unit quaternion: third row of its rotation matrix."""
    return 2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)


@shared
def quaternion_from_euler(roll: float, pitch: float, heading: float) -> tuple[float, float, float, float]:
    """Body-to-Earth unit quaternion (w, x, y, z) from z-y-x Euler angles [rad]; standard aerospace sequence."""
    cr, sr = math.cos(0.5 * roll), math.sin(0.5 * roll)
    cp, sp = math.cos(0.5 * pitch), math.sin(0.5 * pitch)
    ch, sh = math.cos(0.5 * heading), math.sin(0.5 * heading)
    return (
        cr * cp * ch + sr * sp * sh,
        sr * cp * ch - cr * sp * sh,
        cr * sp * ch + sr * cp * sh,
        cr * cp * sh - sr * sp * ch,
    )


@shared
def rotation_between(
    w0: float, x0: float, y0: float, z0: float, w1: float, x1: float, y1: float, z1: float
) -> tuple[float, float, float]:
    """Shortest rotation vector [rad, body axes] from attitude 0 to attitude 1: log(conj(q0) q1), angle in [0, pi]."""
    w = w0 * w1 + x0 * x1 + y0 * y1 + z0 * z1
    x = w0 * x1 - x0 * w1 - y0 * z1 + z0 * y1
    y = w0 * y1 + x0 * z1 - y0 * w1 - z0 * x1
    z = w0 * z1 - x0 * y1 + y0 * x1 - z0 * w1
    if w < 0.0:
        w, x, y, z = -w, -x, -y, -z
    norm = math.sqrt(x * x + y * y + z * z)
    factor = 2.0 if norm < 1e-9 else 2.0 * math.atan2(norm, w) / norm
    return factor * x, factor * y, factor * z


@shared
def turned(w: float, x: float, y: float, z: float, a: float, b: float, c: float) -> tuple[float, float, float, float]:
    """Attitude quaternion after the body has turned by (a, b, c) rad, of any size: q exp(v / 2). Source: as rodrigues_coefficients."""
    angle = math.sqrt(a * a + b * b + c * c)
    k = math.sin(0.5 * angle) / angle if angle > 1e-9 else 0.5
    d, e, f, g = math.cos(0.5 * angle), k * a, k * b, k * c
    return (
        w * d - x * e - y * f - z * g,
        w * e + x * d + y * g - z * f,
        w * f - x * g + y * d + z * e,
        w * g + x * f - y * e + z * d,
    )
