"""An invented aircraft family for the simulator: geometry, mass, section curves, all in SI and radians.

No real aircraft is meant. Six members cover the range a spin programme meets: `tern` (a two-seat trainer),
`swift` and `ibis` (light aerobatic aircraft), `heron` and `crane` (mass along the fuselage, flat, slow to recover) and
`plover` (oscillatory). `vary` draws mass, centre of gravity, inertia and stall shape around a member.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields, replace

import numpy as np


@dataclass(frozen=True)
class Airframe:
    """Plain numbers only, so that the whole record becomes one float array for the compiled simulator."""

    mass_kg: float = 950.0
    ixx_kgm2: float = 1250.0
    iyy_kgm2: float = 1900.0
    izz_kgm2: float = 2950.0
    ixz_kgm2: float = 60.0
    wing_area_m2: float = 13.2
    span_m: float = 9.2
    chord_m: float = 1.43
    cg_aft_m: float = 0.0  # cg behind its reference point; moves every lever arm
    wing_x_m: float = 0.02  # quarter chord ahead of the reference cg
    wing_z_m: float = 0.25  # below the cg: low wing
    dihedral_rad: float = 0.09
    washout_rad: float = 0.035
    incidence_rad: float = 0.02
    lift_slope: float = 4.7
    zero_lift_alpha_rad: float = -0.03
    stall_alpha_rad: float = 0.262
    stall_alpha_inverted_rad: float = 0.245  # magnitude
    stall_width_rad: float = 0.035
    plate_normal_90: float = 1.25  # normal force coefficient of the stalled wing at 90 deg
    drag_zero: float = 0.022
    induced: float = 0.055
    moment_stalled: float = -0.16  # rearward travel of the centre of pressure, times the stalled normal force
    tail_area_m2: float = 2.5
    tail_arm_m: float = 4.3
    tail_z_m: float = -0.25
    tail_incidence_rad: float = -0.02
    downwash_slope: float = 0.38
    elevator_effect_rad: float = 0.27  # tail angle of attack per full stick (aft positive gives nose up)
    fin_area_m2: float = 1.35
    fin_arm_m: float = 4.5
    fin_z_m: float = -0.85
    fin_blank: float = 0.55  # share of the fin lost in the wake of the tailplane, upright, around 45 deg
    rudder_effect_rad: float = 0.26
    aileron_effect_rad: float = 0.14
    fuselage_width_m: float = 0.95
    fuselage_nose_m: float = 2.1
    fuselage_tail_m: float = 4.6
    cross_flow_drag: float = 0.75
    auto_yaw: float = 0.010  # forebody yawing moment in the sense of rotation at high angle of attack
    auto_yaw_alpha_rad: float = 0.96
    thrust_static_n: float = 3000.0
    thrust_speed_mps: float = 95.0  # thrust gone at this speed
    slipstream: float = 0.35
    rotor_momentum_nms: float = 45.0  # propeller angular momentum, clockwise from behind, at full power
    idle_momentum: float = 0.0
    stall_asymmetry_rad: float = 0.0  # right wing stalls this much earlier
    control_rate: float = 3.6  # full deflections per second

    @property
    def array(self) -> np.ndarray:
        """The record as float64, in field order."""
        return np.array(astuple(self), dtype=np.float64)


TERN = replace(
    Airframe(), moment_stalled=-0.1, elevator_effect_rad=0.34, plate_normal_90=1.19, auto_yaw=0.008, fin_blank=0.5
)
SWIFT = replace(
    TERN,
    mass_kg=720.0,
    ixx_kgm2=780.0,
    iyy_kgm2=1150.0,
    izz_kgm2=1800.0,
    ixz_kgm2=20.0,
    wing_area_m2=11.0,
    span_m=7.8,
    chord_m=1.41,
    wing_z_m=0.0,
    dihedral_rad=0.0,
    washout_rad=0.0,
    incidence_rad=0.0,
    zero_lift_alpha_rad=-0.005,
    stall_alpha_inverted_rad=0.255,
    plate_normal_90=1.13,
    moment_stalled=-0.08,
    tail_area_m2=2.4,
    tail_arm_m=3.7,
    tail_incidence_rad=0.0,
    fin_area_m2=1.25,
    fin_arm_m=3.9,
    fin_z_m=-0.4,
    fin_blank=0.6,
    elevator_effect_rad=0.45,
    rudder_effect_rad=0.33,
    aileron_effect_rad=0.24,
    auto_yaw=0.01,
    fuselage_nose_m=1.9,
    fuselage_tail_m=4.0,
    fuselage_width_m=0.85,
    thrust_static_n=4200.0,
    rotor_momentum_nms=60.0,
)
# mass along the fuselage: flat, slow to recover
HERON = replace(
    TERN,
    mass_kg=1900.0,
    ixx_kgm2=2350.0,
    iyy_kgm2=5450.0,
    izz_kgm2=7040.0,
    ixz_kgm2=120.0,
    wing_area_m2=16.0,
    span_m=9.4,
    chord_m=1.8,
    wing_z_m=0.15,
    dihedral_rad=0.05,
    lift_slope=4.3,
    stall_alpha_rad=0.28,
    moment_stalled=-0.16,
    elevator_effect_rad=0.38,
    plate_normal_90=1.14,
    tail_area_m2=4.4,
    tail_arm_m=5.2,
    fin_area_m2=3.3,
    fin_arm_m=5.0,
    fin_z_m=-1.2,
    fin_blank=0.45,
    rudder_effect_rad=0.32,
    fuselage_width_m=1.22,
    fuselage_nose_m=3.7,
    fuselage_tail_m=5.4,
    auto_yaw=0.004,
    thrust_static_n=7000.0,
    thrust_speed_mps=320.0,
    slipstream=0.0,
    rotor_momentum_nms=0.0,
)
# the same layout with a long nose: flatter still
CRANE = replace(
    HERON,
    ixx_kgm2=2630.0,
    iyy_kgm2=5160.0,
    izz_kgm2=7340.0,
    moment_stalled=-0.15,
    elevator_effect_rad=0.41,
    auto_yaw=0.01,
    fin_blank=0.41,
    fin_area_m2=3.16,
    rudder_effect_rad=0.395,
    tail_area_m2=4.05,
    plate_normal_90=1.07,
    fuselage_nose_m=4.18,
    fuselage_width_m=1.24,
)
# a lively one: angle of attack and rotation swing once per turn
PLOVER = replace(
    HERON,
    ixx_kgm2=2740.0,
    iyy_kgm2=5520.0,
    izz_kgm2=7525.0,
    moment_stalled=-0.091,
    elevator_effect_rad=0.339,
    auto_yaw=0.003,
    fin_blank=0.5,
    fin_area_m2=3.35,
    rudder_effect_rad=0.34,
    tail_area_m2=4.35,
    plate_normal_90=1.294,
    fuselage_nose_m=3.12,
    fuselage_width_m=1.04,
)
# symmetric wing, low fin: spins upright and inverted alike
IBIS = replace(
    SWIFT,
    elevator_effect_rad=0.5,
    fin_z_m=-0.05,
    fin_blank=0.72,
    tail_z_m=0.15,
    stall_alpha_inverted_rad=0.26,
    zero_lift_alpha_rad=-0.002,
    moment_stalled=-0.075,
    plate_normal_90=1.12,
)
FAMILY = {"tern": TERN, "swift": SWIFT, "ibis": IBIS, "heron": HERON, "crane": CRANE, "plover": PLOVER}
_LENGTHS = ("span_m", "chord_m", "cg_aft_m", "wing_x_m", "wing_z_m", "tail_arm_m", "tail_z_m", "fin_arm_m", "fin_z_m")
_BODY = ("fuselage_width_m", "fuselage_nose_m", "fuselage_tail_m")


def scaled(base: Airframe, factor: float) -> Airframe:
    """The same shape and density, every length times `factor`: turns take sqrt(factor) longer (Froude)."""
    changes = {name: getattr(base, name) * factor for name in (*_LENGTHS, *_BODY)}
    changes |= {name: getattr(base, name) * factor**2 for name in ("wing_area_m2", "tail_area_m2", "fin_area_m2")}
    changes |= {name: getattr(base, name) * factor**3 for name in ("mass_kg", "thrust_static_n")}
    changes |= {n: getattr(base, n) * factor**5 for n in ("ixx_kgm2", "iyy_kgm2", "izz_kgm2", "ixz_kgm2")}
    changes["rotor_momentum_nms"] = base.rotor_momentum_nms * factor**4.5
    return replace(base, **changes)


def vary(base: Airframe, rng: np.random.Generator, spread: float = 1.0) -> Airframe:
    """A neighbour of `base`: mass +-12 %, inertia +-12 %, cg +-4 cm, stall shape, forebody, small asymmetry."""

    def factor(share: float) -> float:
        return float(1.0 + spread * share * rng.uniform(-1.0, 1.0))

    return replace(
        base,
        mass_kg=base.mass_kg * factor(0.12),
        ixx_kgm2=base.ixx_kgm2 * factor(0.12),
        iyy_kgm2=base.iyy_kgm2 * factor(0.10),
        izz_kgm2=base.izz_kgm2 * factor(0.10),
        cg_aft_m=float(base.cg_aft_m + spread * rng.uniform(-0.04, 0.04)),
        stall_alpha_rad=base.stall_alpha_rad * factor(0.06),
        stall_width_rad=base.stall_width_rad * factor(0.25),
        plate_normal_90=base.plate_normal_90 * factor(0.08),
        fin_blank=min(0.9, base.fin_blank * factor(0.15)),
        auto_yaw=base.auto_yaw * factor(0.3),
        stall_asymmetry_rad=float(spread * rng.uniform(-0.004, 0.004)),
    )


FIELD = {f.name: i for i, f in enumerate(fields(Airframe))}
