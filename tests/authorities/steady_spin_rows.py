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

# alpha deg, seconds per turn, radius ft, load of the resultant g: R = g / (W^2 tan a), n = 1 / sin a with g = 32.17405
# ft/s2; same family of relations, worked by hand outside the product, printed to four and five decimals.
RADIUS_AND_LOAD = (
    (30, 3.0, 12.7043, 2.00000),
    (35, 3.0, 10.4752, 1.74345),
    (45, 3.0, 7.3348, 1.41421),
    (45, 2.0, 3.2599, 1.41421),
    (50, 2.4, 3.9390, 1.30541),
    (60, 2.0, 1.8821, 1.15470),
    (77, 2.0, 0.7526, 1.02630),
    (80, 1.8, 0.4656, 1.01543),
)

# descent ft/s, rotation deg/s, loss per turn ft = descent x period. 7,500 ft/min at 200 deg/s is 225 ft a turn: light
# trainers, printed so in a flight-training magazine (August 2011, p. 42). 150 and 200 ft/s at 150 and 120 deg/s: a
# turboprop trainer, CNATRA P-330 chapter 6 p. 112; the products 360 and 600 are the range P-354 p. 1-8 prints.
LOSS_PER_TURN = (
    (125.0, 200.0, 225.0),
    (150.0, 150.0, 360.0),
    (150.0, 120.0, 450.0),
    (200.0, 120.0, 600.0),
)

# |alpha| deg, class: NASA TP-1009 (1977), first report of the series, as quoted in an encyclopaedia. Which class owns
# an edge is not said there; the upper one is our choice (docs/method/phases.md).
MODE_CLASSES = (
    (20.0, "steep"),
    (29.9, "steep"),
    (30.0, "moderately steep"),
    (44.9, "moderately steep"),
    (45.0, "moderately flat"),
    (64.9, "moderately flat"),
    (65.0, "flat"),
    (89.9, "flat"),
)
