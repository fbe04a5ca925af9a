"""What is still to come of a quantity of which some has already been used: moments of X - u given X > u.

X is the Student-t prediction of a positive quantity (recovery turns, dive and pull-out loss), cut off below zero. The
table is filled once per kind of spin and after each lesson; the live step only interpolates. Derived in
docs/method/altitude-left.md, "What remains".
"""

from typing import Final

from spinfloor.core.compiled import entry, inner, shared

NODES: Final = 33  # nodes of u, evenly from 0 to LAST_NODE_SCALES above the location
LAST_NODE_SCALES: Final = 5.0
TAIL_SCALES: Final = 12.0  # integration ends here; P(t > 12) < 2e-4 for four degrees of freedom
STEPS_PER_NODE: Final = 8
ROW_MEAN: Final = 0
ROW_VARIANCE: Final = 1
ROW_THIRD: Final = 2  # third central moment
ROW_FOURTH: Final = 3  # fourth cumulant
ROWS: Final = 4


@inner
def _add_step(sums, x0, x1, location, scale, dof):
    """Three-point Gauss-Legendre over one step: the density's raw moments 0-4 about zero, added to sums."""
    s0, s1, s2, s3, s4 = sums
    half = 0.5 * (x1 - x0)
    middle = 0.5 * (x1 + x0)
    for k in range(3):
        x = middle + half * (0.7745966692414834 * (k - 1))
        weight = half * (0.8888888888888888 if k == 1 else 0.5555555555555556)
        t = (x - location) / scale
        f = weight * (1.0 + t * t / dof) ** (-0.5 * (dof + 1.0))
        s0 += f
        s1 += f * x
        s2 += f * x**2
        s3 += f * x**3
        s4 += f * x**4
    return s0, s1, s2, s3, s4


@inner
def _store(table, node, u, sums):
    total = sums[0]
    m1 = sums[1] / total
    m2 = sums[2] / total
    m3 = sums[3] / total
    m4 = sums[4] / total
    variance = max(m2 - m1 * m1, 0.0)
    third = m3 - 3.0 * m1 * m2 + 2.0 * m1**3
    fourth = m4 - 4.0 * m1 * m3 + 6.0 * m1 * m1 * m2 - 3.0 * m1**4
    table[ROW_MEAN, node] = m1 - u
    table[ROW_VARIANCE, node] = variance
    table[ROW_THIRD, node] = third
    table[ROW_FOURTH, node] = fourth - 3.0 * variance * variance


@entry
def fill_excess(table, location, scale, dof):
    """Fill table, float64 shape (ROWS, NODES); returns the step of u between nodes, in the quantity's unit."""
    last = location + LAST_NODE_SCALES * scale
    step = last / (NODES - 1)
    sums = (0.0, 0.0, 0.0, 0.0, 0.0)
    end = location + TAIL_SCALES * scale
    tail_steps = 64
    width = (end - last) / tail_steps
    for i in range(tail_steps - 1, -1, -1):
        sums = _add_step(sums, last + i * width, last + (i + 1) * width, location, scale, dof)
    _store(table, NODES - 1, last, sums)
    fine = step / STEPS_PER_NODE
    for node in range(NODES - 2, -1, -1):
        u = node * step
        for i in range(STEPS_PER_NODE - 1, -1, -1):
            sums = _add_step(sums, u + i * fine, u + (i + 1) * fine, location, scale, dof)
        _store(table, node, u, sums)
    return step


@inner
def _place(step, used):
    position = max(used, 0.0) / step
    if position >= NODES - 1:
        return NODES - 2, 1.0
    node = int(position)
    return node, position - node


@shared
def look_up_all(table, step, used):
    """Mean, variance, third central moment and fourth cumulant of what remains after `used`."""
    node, part = _place(step, used)
    rest = 1.0 - part
    return (
        table[ROW_MEAN, node] * rest + table[ROW_MEAN, node + 1] * part,
        table[ROW_VARIANCE, node] * rest + table[ROW_VARIANCE, node + 1] * part,
        table[ROW_THIRD, node] * rest + table[ROW_THIRD, node + 1] * part,
        table[ROW_FOURTH, node] * rest + table[ROW_FOURTH, node + 1] * part,
    )
