"""Altitude left as a distribution, in closed form: the sum of what is still to be lost, by its first four cumulants.

    loss = reaction + N x L + D          N recovery turns to come, L loss per turn, D dive and pull-out loss to come

N, L, D are taken as independent; cumulants of N x L and of the sum are derived in docs/method/altitude-left.md.
`moments` is float64 of shape (4,): mean, variance, third central moment, fourth cumulant, SI.
"""

import math
from typing import Final

from spinfloor.core.compiled import entry
from spinfloor.core.recovery.quantiles import cumulant_quantile, three_quantiles

MEAN: Final = 0
VARIANCE: Final = 1
THIRD: Final = 2
FOURTH: Final = 3


@entry
def add_independent(moments, mean, variance, third, fourth):
    """Add an independent quantity's cumulants."""
    moments[0] += mean
    moments[1] += variance
    moments[2] += third
    moments[3] += fourth


@entry
def add_product(moments, n_mean, n_var, n_third, n_fourth, l_mean, l_var):
    """Add N x L, N with four cumulants, L normal and independent of N."""
    product_var = n_mean * n_mean * l_var + l_mean * l_mean * n_var + n_var * l_var
    third = l_mean**3 * n_third + 3.0 * l_mean * n_third * l_var + 6.0 * n_mean * l_mean * n_var * l_var
    # fourth central moment of N x L: with N = n + a, L = l + b, the product's deviation is n b + l a + a b.
    a2 = n_var
    a3 = n_third
    a4 = n_fourth + 3.0 * n_var * n_var
    b2 = l_var
    b4 = 3.0 * l_var * l_var
    n = n_mean
    ell = l_mean
    central = (
        n**4 * b4
        + ell**4 * a4
        + a4 * b4
        + 6.0 * n * n * ell * ell * a2 * b2
        + 6.0 * n * n * a2 * b4
        + 6.0 * ell * ell * a4 * b2
        + 12.0 * n * ell * ell * a3 * b2
        + 4.0 * n * a3 * b4
    )
    moments[0] += n_mean * l_mean
    moments[1] += product_var
    moments[2] += third
    moments[3] += central - 3.0 * product_var * product_var


@entry
def loss_quantile_m(moments, z):
    """Height loss not exceeded with the probability whose normal quantile is z."""
    return cumulant_quantile(z, moments[0], moments[1], moments[2], moments[3])


@entry
def loss_quantiles_m(moments, z):
    """Height loss not exceeded with even odds, with the probability of z, and with that of -z."""
    return three_quantiles(z, moments[0], moments[1], moments[2], moments[3])


@entry
def combine(mean_a, var_a, mean_b, var_b):
    """Two independent opinions of one quantity, weighted by their precision: (mean, variance)."""
    if not (math.isfinite(mean_b) and math.isfinite(var_b) and var_b > 0.0):
        return mean_a, var_a
    precision = 1.0 / var_a + 1.0 / var_b
    return (mean_a / var_a + mean_b / var_b) / precision, 1.0 / precision
