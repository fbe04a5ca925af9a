"""Steady-spin rows: alpha deg, seconds per turn, p deg/s, r deg/s.

Worked from p = W cos a, r = W sin a (relations of the NASA TN D-6575 family; formulas from memory, rows computed by hand
outside the product). Printed to four decimals.
"""

STEADY_SPIN = (
    (30, 3.0, 103.9230, 60.0000),
    (35, 3.0, 98.2982, 68.8292),
    (45, 3.0, 84.8528, 84.8528),
    (45, 2.0, 127.2792, 127.2792),
    (50, 2.4, 96.4181, 114.9067),
    (60, 2.0, 90.0000, 155.8846),
    (77, 2.0, 40.4912, 175.3866),
    (80, 1.8, 34.7296, 196.9616),
)

# pitch deg, bank deg, rotation about the vertical deg/s, p, q, r deg/s: steady rotation about the vertical, computed
# from the direction cosines. The last row stands at the singular attitude.
ATTITUDE_ROWS = (
    (-40.0, 10.0, 120.0, 77.1345, 15.9627, 90.5288),
    (-60.0, -15.0, -150.0, -129.9038, 19.4114, -72.4444),
    (-89.9, 30.0, 120.0, 119.9998, 0.1047, 0.1814),
)

# name, sign of p, sign of r, orientation, sign of rotation about the vertical: body-axis signs from the direction
# cosines; "turn needle gives the direction, upright and inverted" is CNATRA P-1216 p. 38 and P-1231 p. 61.
SIGNS = (
    ("upright right", 1, 1, 1, 1),
    ("upright left", -1, -1, 1, -1),
    ("inverted, yaw right", -1, 1, -1, -1),
    ("inverted, yaw left", 1, -1, -1, 1),
)
