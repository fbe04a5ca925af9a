"""What earlier spins teach: normal-inverse-gamma learning of three quantities per kind of spin, Student-t prediction.

Quantities: recovery turns (turns), loss per turn (m), dive and pull-out loss (m at 10,000 ft, see density.py).
Kinds: orientation x direction x mode, the mode "not known" among them. Each kind keeps Welford sums; spins of
neighbouring kinds lend a discounted weight (a power prior) that fades as own spins come in. Conjugate update: Gelman
et al., Bayesian Data Analysis, 3rd ed., section 3.3 (from memory); weights and their reason in docs/method/learning.md.
"""

from typing import Final

import numpy as np

from spinfloor.core.compiled import entry, inner

RECOVERY_TURNS: Final = 0
LOSS_PER_TURN: Final = 1
PULL_OUT_LOSS: Final = 2
QUANTITIES: Final = 3
MODE_NOT_KNOWN: Final = 4
MODE_SLOTS: Final = 5

PRIOR_DEGREES_OF_FREEDOM: Final = 4.0  # heavy-tailed at first, variance still finite
OTHER_DIRECTION_WEIGHT: Final = 0.5  # of one own spin; halves with the first own spin
NEXT_MODE_WEIGHT: Final = 0.5  # the mode beside it, or a mode that was not known: the classes cut a continuum
OTHER_MODE_WEIGHT: Final = 0.1
BORROWED_SPINS_AT_MOST: Final = 1.0

# prior rows: location, worth in spins, degrees of freedom, inverse-gamma scale.
BELIEFS_DTYPE: Final = np.dtype(
    [
        ("revision", "i8"),  # counts lessons and resets; predictions cached elsewhere are dropped when it moves
        ("prior", "f8", (QUANTITIES, 4)),
        ("sums", "f8", (QUANTITIES, 2, 2, MODE_SLOTS, 3)),  # count, mean, sum of squared deviations
    ]
)


@inner
def _merged(group, count, mean, squares, weight):
    """(count, mean, sum of squared deviations) with a weighted group added (Chan's parallel Welford)."""
    n = weight * count
    if n <= 0.0:
        return group
    total = group[0] + n
    delta = mean - group[1]
    return (
        total,
        group[1] + delta * n / total,
        group[2] + weight * squares + delta * delta * group[0] * n / total,
    )


@inner
def _gather(beliefs, quantity, orientation, direction, mode):
    """The orientation's spins as four groups: own kind, other direction, mode beside it, the rest."""
    own = near = beside = far = (0.0, 0.0, 0.0)
    for d in range(2):
        for m in range(MODE_SLOTS):
            n = beliefs.sums[quantity, orientation, d, m, 0]
            mean = beliefs.sums[quantity, orientation, d, m, 1]
            squares = beliefs.sums[quantity, orientation, d, m, 2]
            same_mode = m == mode or mode == MODE_NOT_KNOWN
            if same_mode and d == direction:
                own = _merged(own, n, mean, squares, 1.0)
            elif same_mode:
                near = _merged(near, n, mean, squares, 1.0)
            elif d == direction and (abs(m - mode) == 1 or m == MODE_NOT_KNOWN):
                beside = _merged(beside, n, mean, squares, 1.0)
            else:
                far = _merged(far, n, mean, squares, 1.0)
    return own, near, beside, far


@entry
def predict(beliefs, quantity, orientation, direction, mode, out):
    """Student-t prediction of the next spin: out[0:4] = location, scale, degrees of freedom, own spins.

    orientation 0 upright, 1 inverted; direction 0 right, 1 left; mode 0-3, 4 not known (all modes count as own).
    """
    own, near, beside, far = _gather(beliefs, quantity, orientation, direction, mode)
    fade = 1.0 / (1.0 + own[0])
    near_weight = OTHER_DIRECTION_WEIGHT * fade
    beside_weight = NEXT_MODE_WEIGHT * fade
    far_weight = OTHER_MODE_WEIGHT * fade
    borrowed = near_weight * near[0] + beside_weight * beside[0] + far_weight * far[0]
    limit = BORROWED_SPINS_AT_MOST * fade
    if borrowed > limit:
        near_weight *= limit / borrowed
        beside_weight *= limit / borrowed
        far_weight *= limit / borrowed
    out[3] = own[0]
    own = _merged(own, near[0], near[1], near[2], near_weight)
    own = _merged(own, beside[0], beside[1], beside[2], beside_weight)
    own = _merged(own, far[0], far[1], far[2], far_weight)
    location = beliefs.prior[quantity, 0]
    worth = beliefs.prior[quantity, 1]
    shape = 0.5 * (beliefs.prior[quantity, 2] + own[0])
    total = worth + own[0]
    delta = own[1] - location
    spread = beliefs.prior[quantity, 3] + 0.5 * own[2] + 0.5 * worth * own[0] * delta * delta / total
    out[0] = (worth * location + own[0] * own[1]) / total
    out[1] = np.sqrt(spread * (total + 1.0) / (shape * total))
    out[2] = 2.0 * shape


@entry
def learn(beliefs, quantity, orientation, direction, mode, value):
    """Take in one spin's value (Welford); a NaN teaches nothing."""
    if np.isnan(value):
        return
    sums = beliefs.sums[quantity, orientation, direction, mode]
    sums[0] += 1.0
    delta = value - sums[1]
    sums[1] += delta / sums[0]
    sums[2] += delta * (value - sums[1])


def set_prior(record: np.void, quantity: int, mean: float, standard_deviation: float, worth_spins: float) -> None:
    """Write one prior so that the prediction before any spin has exactly this mean and standard deviation (SI)."""
    dof = PRIOR_DEGREES_OF_FREEDOM
    scale_squared = standard_deviation**2 * (dof - 2.0) / dof
    inverse_gamma_scale = scale_squared * (0.5 * dof) * worth_spins / (worth_spins + 1.0)
    record["prior"][quantity] = (mean, worth_spins, dof, inverse_gamma_scale)
