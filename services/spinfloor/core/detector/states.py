"""The detector's private running values: plain records and arrays, so that a save is a copy of bytes.

`state` is one record of STATE_DTYPE, `channels` an array of CHANNEL_COUNT records, `flags` an int64 array of shape
(CHANNEL_COUNT + 1, FLAG_COUNT, 2): last time the flag was earned and whether it has been announced (the extra row is
the time stamp itself), `ring` a float64 array of shape (RING_BINS, RING_WIDTH) of short means of altitude.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from spinfloor.core.channels import CHANNEL_COUNT

TIME_ROW: Final = CHANNEL_COUNT

# Quality flags; the order is the kernel's code.
FLAGS: Final = (
    "missing",
    "wild",
    "stuck",
    "clipped",
    "zero filled",
    "inconsistent",
    "duplicate",
    "out of order",
    "clock jump",
    "gap",
)
FLAG_COUNT: Final = len(FLAGS)
MISSING: Final = 0
WILD: Final = 1
STUCK: Final = 2
CLIPPED: Final = 3
ZERO_FILLED: Final = 4
INCONSISTENT: Final = 5
DUPLICATE: Final = 6
OUT_OF_ORDER: Final = 7
CLOCK_JUMP: Final = 8
GAP: Final = 9

RING_BINS: Final = 512
RING_SECONDS: Final = 0.1
RING_WIDTH: Final = 2  # mean time [s since the first frame], mean corrected-for-setting altitude [m]

CHANNEL_DTYPE: Final = np.dtype(
    [
        ("good", "f8"),  # last accepted value
        ("good_ns", "i8"),  # its time
        ("suspect", "f8"),  # last value refused as wild
        ("suspect_ns", "i8"),
        ("suspect_count", "i8"),
        ("suspect_since_ns", "i8"),  # when the level refused as wild began
        ("raw", "f8"),  # last raw value, bit for bit
        ("same_ns", "i8"),  # since when raw has not changed
        ("peak", "f8"),  # largest |raw| seen
        ("rail", "f8"),  # |value| from which a rate gyro counts as clipped, infinite for the others
        ("seen", "i8"),  # number of accepted values, saturating
        ("suspect_moves", "i8"),  # 1 when the level refused as wild has not stood still
        ("count", "f8"),  # smallest step it ever took: its encoder's count
        ("slow_count", "i8"),  # values in a row that came later than a usual channel's
        ("every_ns", "i8"),  # their spacing
    ]
)

_STATE_FIELDS: Final[tuple[tuple[str, str, str], ...]] = (
    # time
    ("started", "i8", "1 after the first frame"),
    ("origin_ns", "i8", "time of the first frame"),
    ("last_ns", "i8", "time of the last frame taken in"),
    ("now_ns", "i8", "time carried forward to: frames and ticks"),
    ("ahead_ns", "i8", "time of a frame far in the future, waiting to be confirmed"),
    ("back_ns", "i8", "time of the last frame far in the past"),
    ("back_count", "i8", "how many frames in a row continued from there"),
    ("back_from_ns", "i8", "time of the first of them"),
    ("again_ns", "i8", "newest frame of long ago that came again, 0 none"),
    ("kept_from_ns", "i8", "time from which frames of the flight are kept, 0 none"),
    ("kept_shift", "i8", "one frame is kept of every 2**this ns"),
    ("hole_from_ns", "i8", "last frame before the newest short gap, 0 none"),
    ("hole_to_ns", "i8", "the frame after it"),
    ("frames", "i8", "frames taken in"),
    ("frame_dt", "f8", "smoothed frame spacing, s"),
    ("lost", "i8", "1 between data lost and data back"),
    ("lost_ns", "i8", "last frame before the loss"),
    # rates
    ("p", "f8", "roll rate used, rad/s"),
    ("q", "f8", "pitch rate used, rad/s"),
    ("r", "f8", "yaw rate used, rad/s"),
    ("rates_ns", "i8", "time of the last real rates"),
    ("bias_p", "f8", "roll gyro bias, rad/s"),
    ("bias_q", "f8", "pitch gyro bias, rad/s"),
    ("bias_r", "f8", "yaw gyro bias, rad/s"),
    ("bias_sd", "f8", "standard uncertainty of each bias, rad/s"),
    ("fast_p", "f8", "roll rate smoothed over 0.1 s"),
    ("fast_r", "f8", "yaw rate smoothed over 0.1 s"),
    ("mean_p", "f8", "roll rate smoothed over 0.25 s"),
    ("mean_q", "f8", "pitch rate smoothed over 0.25 s"),
    ("mean_r", "f8", "yaw rate smoothed over 0.25 s"),
    ("slow_p", "f8", "roll rate smoothed over a good second"),
    ("slow_q", "f8", "pitch rate smoothed over a good second"),
    ("slow_r", "f8", "yaw rate smoothed over a good second"),
    ("calm_s", "f8", "seconds of quasi-steady straight flight so far"),
    ("pegged", "i8", "vanes at their stop: 2 alpha, 1 beta, 3 both"),
    # attitude
    ("dx", "f8", "down in body axes"),
    ("dy", "f8", ""),
    ("dz", "f8", ""),
    ("flow_x", "f8", "the way the aircraft goes in body axes: down, in a spin drawn to the rotation's axis"),
    ("flow_y", "f8", ""),
    ("flow_z", "f8", ""),
    ("down_sd", "f8", "standard uncertainty of the down direction, rad"),
    ("nose_sd", "f8", "standard uncertainty of its fore-and-aft part (pitch), rad"),
    ("q0", "f8", "attitude quaternion at att_ns"),
    ("q1", "f8", ""),
    ("q2", "f8", ""),
    ("q3", "f8", ""),
    ("att_ns", "i8", "time of the last accepted attitude, 0 none"),
    ("att_bad", "i8", "1 while attitude telemetry is not believed"),
    ("att_good", "i8", "checks in a row in which attitude turned as the gyros did"),
    ("att_noise", "f8", "usual miss of one attitude against the gyros, rad"),
    ("ref_x", "f8", "telemetered down at ref_ns, carried by the gyros since"),
    ("ref_y", "f8", ""),
    ("ref_z", "f8", ""),
    ("ref_ns", "i8", "beginning of the present check of attitude against gyros, 0 none"),
    ("int_p", "f8", "gyro rotation since att_ns, rad"),
    ("int_q", "f8", ""),
    ("int_r", "f8", ""),
    ("has_attitude", "i8", "1 when this frame's attitude was used"),
    ("beta_ns", "i8", "time of the last sideslip used, 0 none"),
    ("by_vane", "i8", "1 while alpha is measured, 0 while the rates stand in for it"),
    ("air_ns", "i8", "time of the last alpha used, 0 none"),
    # air data and rotation
    ("alpha", "f8", "angle of attack used, rad"),
    ("beta", "f8", "sideslip used, rad"),
    ("alpha_fast", "f8", "alpha smoothed over 0.06 s"),
    ("alpha_turn", "f8", "alpha smoothed over a turn"),
    ("wv", "f8", "rotation about the vertical, rad/s"),
    ("wf", "f8", "rotation about the flight path, rad/s"),
    ("wv_fast", "f8", "wv smoothed over 0.1 s"),
    ("wf_fast", "f8", "wf smoothed over 0.1 s"),
    ("wf_turn", "f8", "wf smoothed over a turn"),
    ("turned_f", "f8", "integral of wf, rad"),
    ("turned_v", "f8", "integral of wv, rad"),
    ("unsure", "f8", "accumulated variance of the turn integral, rad^2"),
    ("clip_f", "i8", "frames integrated with a clipped gyro"),
    ("tas_ratio", "f8", "true over calibrated airspeed"),
    # altitude
    ("alt", "f8", "tracked pressure altitude, m"),
    ("alt_rate", "f8", "tracked rate of climb, m/s"),
    ("alt_ns", "i8", "time of the last altitude, 0 none"),
    ("alt_every_s", "f8", "usual time from one altitude to the next"),
    ("alt_f", "f8", "turned_f there"),
    ("alt_noise2", "f8", "mean square residual of the tracker, m^2"),
    ("bin_sum", "f8", "running ring bin"),
    ("bin_time", "f8", ""),
    ("bin_count", "i8", ""),
    ("bin_start", "f8", ""),
    ("bins", "i8", "bins closed so far"),
    ("looked_ns", "i8", "when flags, sink and uncertainty were last looked at"),
    ("sink", "f8", "sink over a turn, m/s"),
    ("sink_sd", "f8", ""),
    ("sink_now", "f8", "present sink, m/s: what the altimeter's lag is corrected with, and what is carried on"),
    ("sink_trend", "f8", "its change, m/s2"),
    ("sink_now_sd", "f8", ""),
    ("sink_trend_sd", "f8", ""),
    # chain of rotation that may become a spin
    ("chain", "i8", "sign of the chain, 0 none"),
    ("chain_yaw", "i8", "sign of the yaw rate where it began"),
    ("chain_ns", "i8", "where it began"),
    ("chain_f", "f8", "turned_f there"),
    ("chain_v", "f8", "turned_v there"),
    ("chain_alt", "f8", "corrected altitude there"),
    ("seen_ns", "i8", "where its evidence began, no later than chain_ns"),
    ("seen_f", "f8", "turned_f there"),
    ("seen_v", "f8", "turned_v there"),
    ("chain_unsure", "f8", "unsure there"),
    ("chain_clip", "i8", "clip_f there"),
    ("chain_hot_ns", "i8", "last time the rotation was up"),
    ("chain_path", "f8", "path steepness (velocity . down) where it began"),
    ("stalled_s", "f8", "seconds the wing has been stalled by alpha, negative inverted, 0 flying"),
    ("chain_stalled_s", "f8", "how long it had been where the chain began, on the chain's side"),
    ("chain_rates", "i8", "1 when it began without alpha"),
    ("chain_flying_s", "f8", "seconds in it with the wing flying, by alpha or else by r against p"),
    ("start_doubt", "f8", "turned about the flight path between its beginning and another that may be the spin's, rad"),
    ("least_wv", "f8", "least rotation about the vertical in its sense since it was last up, rad/s"),
    ("before", "i8", "sign of the chain before it that turned back, 0 none"),
    ("before_f", "f8", "turned_f where that began"),
    ("before_ns", "i8", "last time that one's rotation was up"),
    ("nearly", "i8", "sense of a rotation that nearly reached the threshold and has not turned back, 0 none"),
    ("nearly_f", "f8", "turned_f where it began"),
    ("nearly_ns", "i8", "last time it was nearly there"),
    ("nearly_fell", "i8", "1 when it has fallen away since"),
    ("chain_peak", "f8", "largest rotation about the vertical in the chain before it fell below the threshold, rad/s"),
    ("chain_inherited", "i8", "1 when the rotation was already there when the wing stalled"),
    ("chain_side", "f8", "integral of sign evidence: alpha or p r, positive upright"),
    ("was_up", "i8", "1 when wv_fast was above the threshold on the last frame"),
    ("last_wv_fast", "f8", "wv_fast on the last frame"),
    ("last_alpha", "f8", "alpha_fast on the last frame"),
    ("last_f", "f8", "turned_f on the last frame"),
    ("barrier_ns", "i8", "no chain may begin before this"),
    ("joined_ns", "i8", "since when the rotation is followed: the first frame, or the first after a long gap"),
    # in the spin
    ("spin_f", "f8", "turned_f at the start"),
    ("spin_v", "f8", "turned_v at the start"),
    ("spin_unsure", "f8", "unsure at the start"),
    ("spin_clip", "i8", "clip_f at the start"),
    ("start_sd_s", "f8", "uncertainty of the start time"),
    ("spin_least", "f8", "least rotation about the vertical in the spin's sense since it was last up, rad/s"),
    ("spin_doubt", "f8", "turns between the beginnings there are to choose from, rad about the path"),
    ("turns_said", "i8", "whole turns announced"),
    ("turn_ns", "i8", "time of the last whole turn"),
    ("turn_alt", "f8", "corrected altitude there"),
    ("turn_sink", "f8", "sink there"),
    ("turn_alpha", "f8", "mean alpha of the last turn"),
    ("alpha_sum", "f8", "alpha times time this turn"),
    ("alpha_time", "f8", ""),
    ("swing_sum", "f8", "rotation about the path times time this turn, rad"),
    ("swing_sum2", "f8", "its square times time, rad^2/s"),
    ("swing_mean", "f8", "mean rotation of the turn before, rad/s"),
    ("swing_share", "f8", "swing of the rotation in the last whole turn, a share of its mean; NaN before the second"),
    ("rise_count", "i8", "turns in a row with rising alpha"),
    ("last_period", "f8", "period of the turn before"),
    ("mode_said", "i8", "mode announced, -1 none"),
    ("osc_said", "i8", ""),
    ("mode_ns", "i8", "when the mode was last announced"),
    ("power_s", "f8", "seconds of power above idle in this spin"),
    ("unstall_ns", "i8", "un-stall candidate, 0 none"),
    ("unstall_f", "f8", ""),
    ("unstall_v", "f8", ""),
    ("unstall_alt", "f8", ""),
    ("stop_ns", "i8", "rotation-stop candidate, 0 none"),
    ("stop_f", "f8", ""),
    ("stop_v", "f8", ""),
    ("stop_alt", "f8", ""),
    ("spin_alpha", "f8", "alpha of the spin over a couple of seconds, before recovery controls"),
    ("peak_f", "f8", "recent peak of the rotation, leaky, rad/s"),
    ("fall_ns", "i8", "last time the rotation stood near that peak"),
    ("fall_f", "f8", ""),
    ("fall_v", "f8", ""),
    ("fall_alt", "f8", ""),
    ("yaw_gone_ns", "i8", "since when r against p is below the edge, 0 not"),
    ("yaw_gone_f", "f8", ""),
    ("yaw_gone_v", "f8", ""),
    ("yaw_gone_alt", "f8", ""),
    ("side_now", "f8", "which way up by the rates, smoothed over half a second, positive upright"),
    ("flip_ns", "i8", "since when it stands against the spin's orientation, 0 not"),
    ("flip_f", "f8", ""),
    ("flip_v", "f8", ""),
    ("flip_alt", "f8", ""),
    ("belly_depth", "f8", "how far it stands below the stall, rad; NaN while the path may not be vertical"),
    ("belly_ns", "i8", "since when the carried down stands close to the nose, 0 not"),
    ("belly_f", "f8", ""),
    ("belly_v", "f8", ""),
    ("belly_alt", "f8", ""),
    ("best_f", "f8", "largest rotation of this spin, smoothed over a turn, rad/s"),
    ("deep_ns", "i8", "since when the rotation is a small part of that, 0 not"),
    ("deep_f", "f8", ""),
    ("deep_v", "f8", ""),
    ("deep_alt", "f8", ""),
    ("near_ns", "i8", "last time the rotation stood near its turn mean (inferred recovery)"),
    ("near_f", "f8", ""),
    ("near_alt", "f8", ""),
    # controls
    ("back_s", "f8", "seconds for which the recovery's controls have been back where they were held"),
    ("controls_ns", "i8", "time of the last control telemetry, 0 none"),
    ("controls_s", "f8", "seconds of control telemetry, leaky"),
    ("mark_ns", "i8", "time of the engineer's mark waiting to be used, 0 none"),
    # after the spin
    ("dive", "i8", "1 between the end of a spin and level flight"),
    ("low_alt", "f8", "lowest corrected altitude since"),
    ("low_ns", "i8", "its time"),
    ("last_orientation", "i8", "of the last spin"),
    ("last_direction", "i8", "of the last spin"),
    ("last_end_ns", "i8", ""),
    # phases outside a spin
    ("next_phase", "i8", "phase waiting to be confirmed"),
    ("next_ns", "i8", "since when"),
    ("roll_turned", "f8", "leaky |integral| of wf un-stalled, rad"),
    ("pitch_turned", "f8", "leaky integral of q, rad"),
    ("spiral_turned", "f8", "leaky integral of wv, rad"),
)

PEDAL: Final = 0  # of what is remembered of both controls
STICK: Final = 1
_CONTROL_FIELDS: Final = (
    ("hold", "f8", (2,)),  # where it is held, slow
    ("move_ns", "i8", (2,)),  # when it left there, 0 not
    ("move_f", "f8", (2,)),
    ("move_alt", "f8", (2,)),
    ("far", "i8", (2,)),  # values in a row past the movement that counts
    ("far_ns", "i8", (2,)),  # time of the first of them
)

TAKEN: Final = 512  # frames remembered to know a repeated one by; 5 s at 100 Hz
KEPT: Final = 2048  # frames remembered of the whole flight: one in 0.27 s of nine minutes, one in 4.3 s of two hours
_TAKEN_FIELDS: Final = (
    ("taken_ns", "i8", (TAKEN,)),  # times of the last frames taken in
    ("taken_key", "f8", (TAKEN,)),  # and what they said
    ("kept_ns", "i8", (KEPT,)),  # times of frames out of the whole flight, evenly spread, 0 none
    ("kept_key", "f8", (KEPT,)),
)

STATE_DTYPE: Final = np.dtype([*((name, kind) for name, kind, _ in _STATE_FIELDS), *_CONTROL_FIELDS, *_TAKEN_FIELDS])
