"""Invented aircraft by kind, as non-dimensional numbers with ranges; `drawn` takes one from its kind's ranges.

No real aircraft is meant. The kinds differ where spins differ: mass along the fuselage or along the wing, size, bluntness,
how far the tail is shaded, whether the flow autorotates in roll (steep) or in yaw (flat).

The compiled modules hold the positions of the fields: after a field comes or goes, delete their caches (`__pycache__`), which
numba renews only when the module itself has changed.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields

import numpy as np

RAD = np.pi / 180.0


@dataclass(frozen=True)
class Shape:
    """Plain numbers only: the record becomes one float array for the compiled motion. Moments per full control."""

    mass_kg: float
    area_m2: float
    span_m: float
    chord_m: float
    ixx_kgm2: float
    iyy_kgm2: float
    izz_kgm2: float
    ixz_kgm2: float
    stall_rad: float
    stall_inverted_rad: float  # magnitude
    stall_width_rad: float
    zero_lift_rad: float
    lift_slope: float
    normal_90: float  # normal force coefficient broadside on
    drag_zero: float
    induced: float
    static_margin: float  # share of the chord
    trim_rad: float  # alpha with the stick neutral
    moment_90: float  # nose-down pitching moment broadside on
    elevator: float
    elevator_left: float  # share left at 90 deg
    rudder: float
    rudder_left: float  # share left where the tail is shaded most
    shade_rad: float  # alpha of that
    aileron: float
    aileron_left: float
    adverse: float  # yaw of the stalled aileron, against the roll
    side_linear: float
    side_blunt: float
    dihedral: float  # -Cl_beta, attached
    dihedral_stalled: float
    weathercock: float  # Cn_beta, attached
    weathercock_stalled: float
    yaw_blunt: float  # and by the square of the sideslip
    roll_damping: float  # -Cl_p, attached
    roll_auto: float  # autorotative slope of Cl by rotation, peak
    roll_auto_width_rad: float
    roll_auto_rate: float  # rotation where it has halved
    roll_damping_stalled: float
    yaw_damping: float
    yaw_auto: float
    yaw_auto_rad: float
    yaw_auto_rate: float
    pitch_damping: float
    pitch_rotary: float
    asymmetry_roll: float  # roll moment of an uneven stall
    asymmetry_yaw: float
    buffet: float
    lag_chords: float  # chords flown until the separation has followed
    thrust_n: float
    thrust_gone_mps: float
    slipstream: float
    rotor_nms: float
    idle: float

    @property
    def array(self) -> np.ndarray:
        """The record as float64, in field order."""
        return np.array(astuple(self), dtype=np.float64)


FIELD = {f.name: i for i, f in enumerate(fields(Shape))}
# what every kind shares unless it says otherwise: low and high of a uniform draw, angles in deg
COMMON: dict[str, tuple[float, float]] = {
    "stall_deg": (14.0, 18.0), "inverted_share": (0.8, 1.0), "stall_width_deg": (1.2, 3.0), "zero_lift_deg": (-3.5, -1.0),
    "normal_90": (1.1, 1.45), "drag_zero": (0.02, 0.04), "static_margin": (0.06, 0.16), "moment_90": (0.55, 1.0),
    "elevator_spare": (1.3, 1.8), "elevator_left": (0.45, 0.8), "rudder": (0.045, 0.075), "rudder_left": (0.35, 0.8),
    "shade_deg": (38.0, 55.0), "aileron": (0.05, 0.09), "aileron_left": (0.2, 0.5), "adverse": (0.0, 0.012),
    "side_linear": (0.5, 0.9), "side_blunt": (0.3, 0.9), "dihedral": (0.04, 0.11), "dihedral_stalled": (0.03, 0.12),
    "weathercock": (0.06, 0.12), "weathercock_stalled": (0.01, 0.06), "yaw_blunt": (0.06, 0.16), "roll_damping": (0.40, 0.52),
    "roll_auto": (0.45, 0.8), "roll_auto_width_deg": (10.0, 18.0), "roll_auto_rate": (0.12, 0.22),
    "roll_damping_stalled": (0.10, 0.20), "yaw_damping": (0.10, 0.17), "yaw_auto": (0.0, 0.03),
    "yaw_auto_deg": (50.0, 65.0), "yaw_auto_rate": (0.15, 0.35), "pitch_damping": (10.0, 18.0), "pitch_rotary": (0.2, 0.8),
    "asymmetry_roll": (-0.004, 0.004), "asymmetry_yaw": (-0.001, 0.001), "buffet": (0.001, 0.008),
    "lag_chords": (3.0, 9.0), "idle": (0.0, 0.04),
    "radius_x": (0.22, 0.27), "radius_y": (0.33, 0.38), "izz_share": (0.93, 0.98), "ixz_share": (0.0, 0.04),
}  # fmt: skip
KINDS: dict[str, dict[str, tuple[float, float]]] = {
    "trainer": {
        "mass_kg": (650.0, 1000.0), "span_m": (8.8, 10.8), "aspect": (6.2, 7.6), "loading": (50.0, 72.0), "length": (0.72, 0.8),
        "thrust": (0.3, 0.36), "gone": (75.0, 95.0), "slipstream": (0.1, 0.3), "rotor": (25.0, 55.0),
    },
    "aerobatic": {
        "mass_kg": (520.0, 780.0), "span_m": (7.2, 8.4), "aspect": (5.4, 6.4), "loading": (52.0, 75.0), "length": (0.78, 0.9),
        "thrust": (0.5, 0.7), "gone": (95.0, 120.0), "slipstream": (0.2, 0.4), "rotor": (50.0, 90.0),
        "inverted_share": (0.95, 1.0), "zero_lift_deg": (-0.6, 0.2), "rudder": (0.065, 0.1), "aileron": (0.09, 0.14),
        "dihedral": (0.0, 0.03), "elevator_spare": (1.6, 2.2), "static_margin": (0.03, 0.09), "stall_width_deg": (0.8, 2.0),
        "rudder_left": (0.6, 0.95),
    },
    "jet": {
        "mass_kg": (2800.0, 7500.0), "span_m": (8.4, 11.0), "aspect": (3.6, 5.2), "loading": (170.0, 300.0),
        "length": (1.1, 1.35), "thrust": (0.4, 0.7), "gone": (330.0, 480.0), "slipstream": (0.0, 0.0), "rotor": (300.0, 1500.0),
        "stall_deg": (16.0, 22.0), "stall_width_deg": (2.0, 4.0), "radius_x": (0.2, 0.26), "radius_y": (0.34, 0.4),
        "yaw_auto": (0.02, 0.10), "moment_90": (0.7, 1.3), "elevator_spare": (1.5, 2.2), "roll_damping": (0.3, 0.42),
        "weathercock_stalled": (-0.02, 0.04), "asymmetry_yaw": (-0.003, 0.003), "zero_lift_deg": (-1.5, 0.0),
        "rudder_left": (0.2, 0.6), "idle": (0.04, 0.08),
    },
    "wing-heavy": {
        "mass_kg": (1500.0, 3000.0), "span_m": (10.5, 13.5), "aspect": (6.8, 8.2), "loading": (85.0, 130.0),
        "length": (0.66, 0.76), "thrust": (0.3, 0.4), "gone": (110.0, 140.0), "slipstream": (0.0, 0.15), "rotor": (60.0, 150.0),
        "radius_x": (0.31, 0.38), "radius_y": (0.32, 0.36), "buffet": (0.003, 0.01),
    },
    "boat": {
        "mass_kg": (1300.0, 2600.0), "span_m": (11.0, 14.0), "aspect": (6.4, 8.0), "loading": (65.0, 95.0), "length": (0.7, 0.8),
        "thrust": (0.28, 0.36), "gone": (80.0, 100.0), "slipstream": (0.0, 0.2), "rotor": (50.0, 120.0),
        "side_blunt": (0.8, 1.5), "side_linear": (0.7, 1.0), "normal_90": (1.3, 1.6), "moment_90": (0.7, 1.1),
        "rudder_left": (0.3, 0.7), "yaw_damping": (0.13, 0.2), "trim_deg": (1.0, 3.5),
    },
    "sailplane": {
        "mass_kg": (330.0, 620.0), "span_m": (13.0, 18.0), "aspect": (15.0, 21.0), "loading": (28.0, 42.0),
        "length": (0.45, 0.52), "thrust": (0.0, 0.0), "gone": (100.0, 120.0), "slipstream": (0.0, 0.0), "rotor": (0.0, 0.0),
        "stall_deg": (12.0, 15.0), "roll_damping": (0.5, 0.6), "rudder": (0.025, 0.045), "roll_auto_rate": (0.18, 0.3),
        "drag_zero": (0.011, 0.016), "aileron": (0.05, 0.08), "adverse": (0.006, 0.02),
    },
    "heavy single": {
        "mass_kg": (2400.0, 4200.0), "span_m": (10.6, 12.6), "aspect": (5.4, 6.4), "loading": (140.0, 200.0),
        "length": (0.8, 0.9), "thrust": (0.4, 0.55), "gone": (170.0, 210.0), "slipstream": (0.15, 0.35), "rotor": (250.0, 700.0),
        "asymmetry_roll": (-0.009, 0.009), "stall_width_deg": (0.8, 2.0), "stall_deg": (15.0, 19.0),
    },
}  # fmt: skip


def drawn(kind: str, rng: np.random.Generator) -> Shape:
    """One aircraft of a kind."""
    n = {k: float(rng.uniform(*v)) for k, v in {**COMMON, "trim_deg": (1.0, 4.0), **KINDS[kind]}.items()}
    area = n["mass_kg"] / n["loading"]
    # the loading decides the area, the aspect ratio the span: the kind's span range only keeps the pair sober
    span = float(np.clip(np.sqrt(area * n["aspect"]), *KINDS[kind]["span_m"]))
    chord = area / span
    length = n["length"] * span
    ixx = n["mass_kg"] * (n["radius_x"] * span / 2) ** 2
    iyy = n["mass_kg"] * (n["radius_y"] * length / 2) ** 2
    aspect = span / chord
    slope = 2 * np.pi * aspect / (2.0 + np.sqrt(4.0 + aspect**2))
    stall, trim = n["stall_deg"] * RAD, n["trim_deg"] * RAD
    # enough elevator to pass the stall both ways, times what the designer had to spare
    elevator = slope * n["static_margin"] * (stall - trim) * n["elevator_spare"] + 0.18
    same = {f.name: n[f.name] for f in fields(Shape) if f.name in n}
    same |= {k[:-4] + "_rad": n[k] * RAD for k in n if k.endswith("_deg") and k[:-4] + "_rad" in FIELD}
    derived = {
        "area_m2": area, "span_m": span, "chord_m": chord, "ixx_kgm2": ixx, "iyy_kgm2": iyy, "izz_kgm2": (ixx + iyy) * n["izz_share"],
        "ixz_kgm2": n["ixz_share"] * iyy, "stall_inverted_rad": stall * n["inverted_share"], "lift_slope": slope,
        "induced": 1.0 / (np.pi * aspect * 0.78), "elevator": elevator, "thrust_n": n["thrust"] * n["mass_kg"] * 9.80665,
        "thrust_gone_mps": n["gone"], "rotor_nms": n["rotor"],
    }  # fmt: skip
    return Shape(**{**same, **{k: float(v) for k, v in derived.items()}})
