"""The motion record: everything the detector knows of the aircraft after a frame, SI and radians.

The first part is the face it shows: the decision step (altitude left, calls) and the snapshots read these fields and
nothing else of the detector. The detector's private running values live in their own records.
"""

from __future__ import annotations

from typing import Final

import numpy as np

# name, dtype, meaning with unit
MOTION_FIELDS: Final[tuple[tuple[str, str, str], ...]] = (
    ("time_ns", "i8", "time of the newest frame or tick taken in, source clock"),
    ("frame_ns", "i8", "time of the newest real frame taken in"),
    ("phase", "i8", "index into events.PHASES"),
    ("phase_since_ns", "i8", "back-dated start of the phase"),
    ("in_spin", "i8", "1 from the frame that makes a spin known to the frame that makes its end known"),
    ("spin_ordinal", "i8", "number of spins known so far in this sortie"),
    ("spin_start_ns", "i8", "back-dated start of the present (or last) spin"),
    ("spin_end_ns", "i8", "back-dated end of the last spin, 0 while in one"),
    ("spin_ended_now", "i8", "1 only on the frame that makes the end known"),
    ("orientation", "i8", "+1 upright, -1 inverted, 0 not known"),
    ("direction", "i8", "+1 right, -1 left (sign of yaw rate), 0 not known"),
    ("sense_from_above", "i8", "+1 clockwise, -1 counter-clockwise, 0 not known"),
    ("mode", "i8", "index into events.MODES, -1 not known"),
    ("oscillatory", "i8", "1 when the once-per-turn swing of the rotation exceeds our threshold"),
    ("alpha_rad", "f8", "angle of attack, measured or from tan(alpha) = r/p, smoothed over a turn, NaN unknown"),
    ("turns", "f8", "unsigned turns about the flight path since spin_start_ns; frozen at the end"),
    ("turns_about_vertical", "f8", "unsigned turns about the vertical since spin_start_ns"),
    ("turns_sd", "f8", "standard uncertainty of turns"),
    ("turns_lower_bound", "i8", "1 when a clipped gyro makes turns a lower bound"),
    ("rotation_radps", "f8", "magnitude of rotation about the flight path now, smoothed"),
    ("turn_period_s", "f8", "seconds of the last whole turn, else from the present rate; NaN unknown"),
    ("altitude_m", "f8", "corrected altitude (setting, lag), floor datum"),
    ("altitude_sd_m", "f8", "standard uncertainty of altitude_m"),
    ("sink_mps", "f8", "sink over a whole turn (or its best substitute), positive down"),
    ("sink_sd_mps", "f8", "standard uncertainty of sink_mps"),
    ("sink_ahead_mps", "f8", "mean sink over the lead to come: in a young spin it still builds up; NaN not known"),
    ("loss_per_turn_m", "f8", "height lost in the last whole turn, NaN before the first"),
    ("loss_per_turn_sd_m", "f8", "standard uncertainty of loss_per_turn_m"),
    ("spin_start_altitude_m", "f8", "corrected altitude at spin_start_ns"),
    ("spin_end_altitude_m", "f8", "corrected altitude at spin_end_ns"),
    ("recovery_started", "i8", "1 once recovery controls are in during this spin, until the next spin"),
    ("recovery_source", "i8", "0 none, 1 control telemetry, 2 mark, 3 inferred"),
    ("recovery_start_ns", "i8", "time of the first recovery control movement"),
    ("recovery_started_now", "i8", "1 only on the frame that makes it known"),
    ("recovery_start_turns", "f8", "turns at that time"),
    ("recovery_start_altitude_m", "f8", "corrected altitude at that time"),
    ("rotation_at_recovery_radps", "f8", "rotation just before the recovery controls"),
    ("level_now", "i8", "1 only on the frame that makes level flight after a spin known"),
    ("level_ns", "i8", "back-dated time of level flight"),
    ("level_altitude_m", "f8", "lowest corrected altitude of the pull-out"),
    ("power_on", "i8", "1 while throttle is above idle in the spin, -1 unknown"),
    ("flattening", "i8", "1 when alpha has risen turn on turn"),
    ("reversed_now", "i8", "1 only on the frame that makes a spin the other way after the last one known"),
    ("restarted_now", "i8", "1 only on the frame that makes a spin of the same kind after the last one known"),
    ("turned_inverted_now", "i8", "1 only on the frame that makes an inverted spin after an upright one known"),
    ("estimated", "i8", "1 while the motion is carried forward without frames"),
    ("data_lost_now", "i8", "1 only on the tick or frame that makes the loss known"),
    ("data_restored_now", "i8", "1 only on the first frame after a loss"),
    ("degraded", "i8", "1 while a channel the estimate needs is flagged"),
    ("true_airspeed_mps", "f8", "true airspeed when measured, else NaN"),
    ("evidence", "i8", "0 rates and altitude only, 1 attitude, 2 attitude and air data, 3 air data"),
)

MOTION_DTYPE: Final = np.dtype([(name, kind) for name, kind, _ in MOTION_FIELDS])
