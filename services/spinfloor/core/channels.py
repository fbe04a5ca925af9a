"""The frame columns of the contract (version 1), their units at the edge and inside the core.

A frame is one time stamp (int64 nanoseconds UTC) and one row of `CHANNEL_COUNT` float64 values in SI units
and radians, in the order of `CHANNELS`; a missing value is NaN.
"""

from dataclasses import dataclass
from typing import Final

from spinfloor.core.units import (
    METRES_PER_FOOT,
    METRES_PER_SECOND_PER_KNOT,
    RADIANS_PER_DEGREE,
    STANDARD_GRAVITY_MPS2,
)


@dataclass(frozen=True, slots=True)
class Channel:
    """One column: its contract name, its unit there, its name inside the core and the factor between them."""

    column: str
    unit: str
    core_name: str
    si_per_unit: float
    required: bool
    meaning: str


_DEG = RADIANS_PER_DEGREE
_PCT = 0.01

CHANNELS: Final[tuple[Channel, ...]] = (
    Channel("roll_rate_dps", "deg/s", "roll_rate_radps", _DEG, True, "body roll rate p, right wing down positive"),
    Channel("pitch_rate_dps", "deg/s", "pitch_rate_radps", _DEG, True, "body pitch rate q, nose up positive"),
    Channel("yaw_rate_dps", "deg/s", "yaw_rate_radps", _DEG, True, "body yaw rate r, nose right positive"),
    Channel(
        "pressure_altitude_ft", "ft", "pressure_altitude_m", METRES_PER_FOOT, True, "altimeter reading at 1013.25 hPa"
    ),
    Channel("roll_deg", "deg", "roll_rad", _DEG, False, "bank angle, right wing down positive"),
    Channel("pitch_deg", "deg", "pitch_rad", _DEG, False, "pitch attitude, nose up positive"),
    Channel("heading_deg", "deg", "heading_rad", _DEG, False, "true heading"),
    Channel("alpha_deg", "deg", "alpha_rad", _DEG, False, "angle of attack"),
    Channel("beta_deg", "deg", "beta_rad", _DEG, False, "sideslip, wind from the right positive"),
    Channel(
        "calibrated_airspeed_kt",
        "kt",
        "calibrated_airspeed_mps",
        METRES_PER_SECOND_PER_KNOT,
        False,
        "calibrated airspeed",
    ),
    Channel(
        "longitudinal_load_g",
        "g",
        "longitudinal_load_mps2",
        STANDARD_GRAVITY_MPS2,
        False,
        "load along x, forward positive",
    ),
    Channel("lateral_load_g", "g", "lateral_load_mps2", STANDARD_GRAVITY_MPS2, False, "load along y, right positive"),
    Channel(
        "normal_load_g",
        "g",
        "normal_load_mps2",
        STANDARD_GRAVITY_MPS2,
        False,
        "normal load, +1 g in upright level flight",
    ),
    Channel("stick_aft_pct", "%", "stick_aft", _PCT, False, "pitch control, aft positive, 100 % full aft"),
    Channel("stick_right_pct", "%", "stick_right", _PCT, False, "roll control, right positive"),
    Channel("pedal_right_pct", "%", "pedal_right", _PCT, False, "yaw control, right pedal positive"),
    Channel("throttle_pct", "%", "throttle", _PCT, False, "power lever, 0 idle, 100 full"),
    Channel("radar_altitude_ft", "ft", "radar_altitude_m", METRES_PER_FOOT, False, "height above the surface"),
    Channel("event_marker", "", "event_marker", 1.0, False, "crew's event button, non-zero while pressed"),
)

CHANNEL_COUNT: Final = len(CHANNELS)
COLUMN_NAMES: Final = tuple(c.column for c in CHANNELS)
REQUIRED_COLUMNS: Final = tuple(c.column for c in CHANNELS if c.required)
CHANNEL_INDEX: Final = {c.column: i for i, c in enumerate(CHANNELS)}
TIME_COLUMN: Final = "time_ns"
TIME_SECONDS_COLUMN: Final = "time_s"

# Column positions as plain integers, for the compiled kernel.
ROLL_RATE: Final = 0
PITCH_RATE: Final = 1
YAW_RATE: Final = 2
PRESSURE_ALTITUDE: Final = 3
ROLL: Final = 4
PITCH: Final = 5
HEADING: Final = 6
ALPHA: Final = 7
BETA: Final = 8
CALIBRATED_AIRSPEED: Final = 9
LONGITUDINAL_LOAD: Final = 10
LATERAL_LOAD: Final = 11
NORMAL_LOAD: Final = 12
STICK_AFT: Final = 13
STICK_RIGHT: Final = 14
PEDAL_RIGHT: Final = 15
THROTTLE: Final = 16
RADAR_ALTITUDE: Final = 17
EVENT_MARKER: Final = 18
