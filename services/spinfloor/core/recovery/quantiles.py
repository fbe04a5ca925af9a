"""Quantiles in closed form for the compiled step: normal, Student-t, and a sum with known cumulants.

Sources: normal, Wichura (1988), Algorithm AS 241 (PPND16), Applied Statistics 37 no. 3, pp. 477-484; Student-t,
Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5; sum, Cornish and Fisher's expansion, ibid. 26.2.49.
Coefficients from memory; the tests compare all three with scipy.
"""

import math
from typing import Final

import numpy as np

from spinfloor.core.compiled import entry, inner

_CENTRE_N: Final = np.array(
    [3.3871328727963666080, 1.3314166789178437745e2, 1.9715909503065514427e3, 1.3731693765509461125e4,
     4.5921953931549871457e4, 6.7265770927008700853e4, 3.3430575583588128105e4, 2.5090809287301226727e3]
)  # fmt: skip
_CENTRE_D: Final = np.array(
    [1.0, 4.2313330701600911252e1, 6.8718700749205790830e2, 5.3941960214247511077e3,
     2.1213794301586595867e4, 3.9307895800092710610e4, 2.8729085735721942674e4, 5.2264952788528545610e3]
)  # fmt: skip
_MIDDLE_N: Final = np.array(
    [1.42343711074968357734, 4.63033784615654529590, 5.76949722146069140550, 3.64784832476320460504,
     1.27045825245236838258, 2.41780725177450611770e-1, 2.27238449892691845833e-2, 7.74545014278341407640e-4]
)  # fmt: skip
_MIDDLE_D: Final = np.array(
    [1.0, 2.05319162663775882187, 1.67638483018380384940, 6.89767334985100004550e-1,
     1.48103976427480074590e-1, 1.51986665636164571966e-2, 5.47593808499534494600e-4, 1.05075007164441684324e-9]
)  # fmt: skip
_TAIL_N: Final = np.array(
    [6.65790464350110377720, 5.46378491116411436990, 1.78482653991729133580, 2.96560571828504891230e-1,
     2.65321895265761230930e-2, 1.24266094738807843860e-3, 2.71155556874348757815e-5, 2.01033439929228813265e-7]
)  # fmt: skip
_TAIL_D: Final = np.array(
    [1.0, 5.99832206555887937690e-1, 1.36929880922735805310e-1, 1.48753612908506148525e-2,
     7.86869131145613259100e-4, 1.84631831751005468180e-5, 1.42151175831644588870e-7, 2.04426310338993978564e-15]
)  # fmt: skip


@inner
def _ratio(numerator, denominator, x):
    top = 0.0
    bottom = 0.0
    for i in range(7, -1, -1):
        top = top * x + numerator[i]
        bottom = bottom * x + denominator[i]
    return top / bottom


@entry
def normal_quantile(probability: float) -> float:
    """z with P(Z <= z) = probability, 0 < probability < 1; about 16 digits (AS 241). NaN outside."""
    if not 0.0 < probability < 1.0:
        return np.nan
    q = probability - 0.5
    if abs(q) <= 0.425:
        return q * _ratio(_CENTRE_N, _CENTRE_D, 0.180625 - q * q)
    tail = probability if q < 0.0 else 1.0 - probability
    r = math.sqrt(-math.log(tail))
    z = _ratio(_MIDDLE_N, _MIDDLE_D, r - 1.6) if r <= 5.0 else _ratio(_TAIL_N, _TAIL_D, r - 5.0)
    return -z if q < 0.0 else z


@entry
def student_quantile(probability: float, degrees_of_freedom: float) -> float:
    """Student-t quantile for non-integer degrees of freedom >= 4 (A&S 26.7.5, four terms).

    Within 0.5 % of the exact quantile for 0.005 <= probability <= 0.995.
    """
    z = normal_quantile(probability)
    v = degrees_of_freedom
    z2 = z * z
    g1 = z * (z2 + 1.0) / 4.0
    g2 = z * ((5.0 * z2 + 16.0) * z2 + 3.0) / 96.0
    g3 = z * (((3.0 * z2 + 19.0) * z2 + 17.0) * z2 - 15.0) / 384.0
    g4 = z * ((((79.0 * z2 + 776.0) * z2 + 1482.0) * z2 - 1920.0) * z2 - 945.0) / 92160.0
    return z + (((g4 / v + g3) / v + g2) / v + g1) / v


@entry
def cumulant_quantile(z: float, mean: float, variance: float, third: float, fourth: float) -> float:
    """Quantile of a distribution with these four cumulants, z the normal quantile (A&S 26.2.49, second order).

    Skewness is held to +-2 and excess kurtosis to 12: beyond that the expansion stops rising with z.
    """
    if variance <= 0.0:
        return mean
    sd, skew, excess = _shape(variance, third, fourth)
    return mean + sd * _expanded(z, skew, excess)


@inner
def _shape(variance, third, fourth):
    sd = math.sqrt(variance)
    skew = min(2.0, max(-2.0, third / (variance * sd)))
    excess = min(12.0, max(-1.5, fourth / (variance * variance)))
    return sd, skew, excess


@inner
def _expanded(z, skew, excess):
    z2 = z * z
    return z + (z2 - 1.0) * skew / 6.0 + (z2 - 3.0) * z * excess / 24.0 - (2.0 * z2 - 5.0) * z * skew * skew / 36.0


@entry
def three_quantiles(z, mean, variance, third, fourth):
    """`cumulant_quantile` at 0, z and -z, the shape worked out once."""
    if variance <= 0.0:
        return mean, mean, mean
    sd, skew, excess = _shape(variance, third, fourth)
    return (
        mean + sd * _expanded(0.0, skew, excess),
        mean + sd * _expanded(z, skew, excess),
        mean + sd * _expanded(-z, skew, excess),
    )
