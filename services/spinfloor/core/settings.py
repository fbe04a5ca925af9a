"""The plan flattened to one SI record the compiled kernel reads; it never changes within a run, except floors."""

from __future__ import annotations

from typing import Final

import numpy as np

# name, meaning with unit. All float64 so that the record is plain.
SETTINGS_FIELDS: Final[tuple[tuple[str, str], ...]] = (
    ("stall_alpha_upright_rad", "stall angle of attack, upright"),
    ("stall_alpha_inverted_rad", "stall angle of attack, inverted (negative)"),
    ("pull_out_load_factor", "constant load factor of the pull-out, g units"),
    ("pull_out_speed_mps", "true airspeed at the start of the pull-out"),
    ("pull_out_dive_angle_rad", "path angle below the horizon at the start of the pull-out, positive down"),
    ("altimeter_lag_s", "first-order lag of the altimeter"),
    ("idle_throttle", "throttle fraction up to which power counts as idle"),
    ("roll_rate_range_radps", "full scale of the roll gyro"),
    ("pitch_rate_range_radps", "full scale of the pitch gyro"),
    ("yaw_rate_range_radps", "full scale of the yaw gyro"),
    ("chute_fitted", "1 or 0"),
    ("recovery_floor_m", "pressure-corrected height of the recovery floor, same datum as altitude_m"),
    ("chute_floor_m", "chute floor, NaN when none"),
    ("abandon_floor_m", "abandon floor"),
    ("ground_m", "ground, same datum"),
    ("altitude_offset_m", "added to pressure altitude for the altimeter setting (0 for reference pressure)"),
    ("reaction_s", "crew reaction"),
    ("speaking_s", "time to speak a call"),
    ("telemetry_age_s", "age of a frame when it arrives"),
    ("data_age_limit_s", "no frame for longer than this in a spin is lost data"),
    ("controls_not_slowing_turns", "turns after recovery controls without slowing before the chute call"),
    ("repeat_call_s", "repetition period of recover, chute and abandon"),
    ("cautious_bound", "probability of the cautious bound, e.g. 0.95"),
    (
        "expected_sink_mps",
        "sink expected in a spin before one was seen: prior loss per turn over prior seconds per turn",
    ),
    ("turns_called_vertical", "1 when turns about the vertical are called"),
)

SETTINGS_DTYPE: Final = np.dtype([(name, np.float64) for name, _ in SETTINGS_FIELDS])
