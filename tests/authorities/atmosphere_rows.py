"""Standard atmosphere and airspeed rows.

ISA: geopotential ft, T K, p Pa, rho kg/m^3; US Standard Atmosphere 1976 = ICAO below 20 km (printed digits).
CAS: CAS kt, pressure altitude ft, TAS kt; computed from the compressible relations, a0 = 661.4786 kt.
"""

ISA = (
    (0, 288.150, 101325.0, 1.22500),
    (5_000, 278.244, 84307.3, 1.05555),
    (10_000, 268.338, 69681.6, 0.90464),
    (20_000, 248.526, 46563.2, 0.65269),
    (30_000, 228.714, 30089.6, 0.45831),
    (40_000, 216.650, 18753.9, 0.30156),
)

CAS_TAS = (
    (60, 5_000, 64.624),
    (80, 10_000, 93.017),
    (100, 10_000, 116.218),
    (120, 15_000, 150.806),
    (200, 20_000, 270.532),
    (250, 30_000, 393.731),
)
