"""Dive pull-out losses worked from the balance n = V^2/(gR) + cos(gamma).

Balance: aircraft structures textbook, section 13.3.1 (L = W V^2/(gR) + W cos(theta)), read in its online edition.
Numbers: worked from that balance with g = 32.17405 ft/s2 and 1 kt = 1.687810 ft/s, printed to 0.01 ft and 0.01 kt;
column (1) was confirmed by a 20,000-step integration. No published example with numbers was found.

Columns: speed KTAS, load factor g, dive angle deg, loss at (1) constant speed, (2) constant radius, (3) constant load
without drag, all ft, and the speed after (3) in kt.
"""

ROWS = [
    (120, 3.0, 90, 516.96, 637.49, 796.86, 180.00),
    (120, 2.5, 60, 366.79, 424.99, 495.83, 160.00),
    (120, 2.0, 90, 883.75, 1274.98, 1912.47, 240.00),
    (150, 2.5, 90, 1017.65, 1328.11, 1770.81, 250.00),
    (150, 3.0, 60, 444.54, 498.04, 560.29, 187.50),
    (200, 4.0, 60, 545.94, 590.27, 639.46, 233.33),
    (200, 3.0, 90, 1436.00, 1770.81, 2213.51, 300.00),
    (250, 4.0, 90, 1591.97, 1844.59, 2152.02, 333.33),
    (100, 2.0, 45, 227.44, 259.33, 297.31, 129.29),
]
PRINTED_STEP_FT = 0.01
PRINTED_STEP_KT = 0.01
