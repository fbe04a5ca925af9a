"""The detector's own thresholds, each with its unit and its reason. Times in seconds, never in samples.

Where a number comes from the agreed definitions it says so; the rest are ours, chosen from the physics with margin.
"""

import math
from typing import Final

_DEG = math.pi / 180.0
_TURN = 2.0 * math.pi

# Definitions: rotation about the vertical above 20 deg/s while stalled is where a spin begins; stopped below 10.
START_ROTATION_RADPS: Final = 20.0 * _DEG
STOP_ROTATION_RADPS: Final = 10.0 * _DEG
# A fall below the start threshold is a falter of the same rotation as long as it never turns back; a longer one than
# this is a new beginning. With down carried from the rates the sign of a slow rotation is unsure, so less is bridged.
FALTER_S: Final = 3.0
# A dip to this near a standstill, before the rotation has gone far, leaves two beginnings to choose from; the turns
# between them count with this share as a standard deviation.
DOUBT_RADPS: Final = 3.0 * _DEG
DOUBT_VERTICAL_RAD: Final = 0.5 * _TURN
DOUBT_SHARE: Final = 0.6
# Followed from inside a spin (the first frame, or the first after a gap too long to bridge): roll and yaw together faster
# than this turn about a spin's axis, which is near the vertical. A rotation that is there this soon had begun before.
JOINED_RADPS: Final = 60.0 * _DEG
JOINED_PITCH_SHARE: Final = 0.6
JOINED_FLAT_SHARE: Final = 0.2  # of yaw: with less roll its sign is unsure, and the belly is taken to be down
JOINED_DOWN_SD_RAD: Final = 0.3
JOINED_S: Final = 1.0
TURNED_BACK_RADPS: Final = 0.0
# Without alpha a spin begins where the yaw rate builds up and stays; found on generated flights (docs/method/start-and-end.md).
YAW_START_RADPS: Final = 28.0 * _DEG
YAW_START_PLANE_RADPS: Final = 40.0 * _DEG
YAW_LEAST_RADPS: Final = 6.0 * _DEG
FALTER_RATES_S: Final = 2.0
COLD_S: Final = 6.0  # a mush in the deep stall yaws on slowly: what comes after so long begins anew
# The pedal's first kick yaws before the wing stalls: a chain that went cold this long, hardly turned, begins anew.
KICK_S: Final = 0.4
KICK_VERTICAL_RAD: Final = 25.0 * _DEG
# So does one whose rotation about the vertical went back this fast in between, if the carried down is worth that much.
WENT_BACK_RADPS: Final = 16.0 * _DEG
DOWN_SURE_RAD: Final = 17.0 * _DEG
BELLY_WEIGHT: Final = 1.0
# Vane noise, position error and the hysteresis of stall: still stalled this far below the plan's stall angle.
STALL_MARGIN_RAD: Final = 1.5 * _DEG
# Deep below the stall the wing is flying beyond doubt.
FLYING_MARGIN_RAD: Final = 7.0 * _DEG

# Filters.
FAST_S: Final = 0.10
ALPHA_FAST_S: Final = 0.05
MEAN_S: Final = 0.25
SLOW_S: Final = 1.2

# Alpha this little past the stall may yet fly again (falling leaf, end of a snap roll): then it must go on for longer.
DEEP_STALL_RAD: Final = 1.5 * _DEG
KNOWN_VERTICAL_SHALLOW_RAD: Final = 110.0 * _DEG

# Making a spin known. About the vertical a snap roll on a level path or a falling leaf gathers less than 10 deg.
# A stall gyration may gather 30; it does so slowly, so a slow rotation needs more. An inverted snap roll sinks, and gathers 35.
KNOWN_VERTICAL_RAD: Final = 23.0 * _DEG
KNOWN_VERTICAL_SLOW_RAD: Final = 44.0 * _DEG
KNOWN_VERTICAL_INVERTED_RAD: Final = 35.0 * _DEG
KNOWN_SLOW_RADPS: Final = 78.0 * _DEG
KNOWN_VERTICAL_RATES_RAD: Final = 47.0 * _DEG
# In the dive after a spin the carried down is worn and the aircraft rolls and yaws about: more is asked for.
KNOWN_VERTICAL_DIVE_RAD: Final = 110.0 * _DEG
# A falling leaf yaws about the vertical while it hardly turns about its path.
KNOWN_PATH_RAD: Final = 65.0 * _DEG
KNOWN_PATH_RATES_RAD: Final = 40.0 * _DEG  # a pedal reversed in a sideslip yaws and hardly turns about the path
# Of the time since the rotation began the wing may have been flying for this share: a noisy vane dips below the stall and back.
FLYING_SHARE: Final = 0.5
KNOWN_AGE_S: Final = 0.6
KNOWN_AGE_RATES_S: Final = 0.9
KNOWN_ROTATION_RADPS: Final = 35.0 * _DEG
KNOWN_ROTATION_RATES_RADPS: Final = 50.0 * _DEG
# A spin turns about the flight path; pitching dominates loops, tight spirals and tumbles.
PITCH_SHARE: Final = 0.8
PITCH_SHARE_EARLY: Final = 0.42  # until it has turned as far about the vertical as a slow rotation must
PITCH_SHARE_RATES: Final = 0.55
# Least angle of r against p (tan alpha = r/p) for autorotation; rolls are far below.
LEAST_RATE_ALPHA_RAD: Final = 11.0 * _DEG
# Below this angle now, and turning this slowly about the vertical, the yaw of a falling leaf dies away before it swings back.
LEAF_ALPHA_RAD: Final = 15.0 * _DEG
LEAF_VERTICAL_RADPS: Final = 60.0 * _DEG
# Rotation that was there before the wing stalled, or began on a steep path, could be a roll flown on purpose.
STEEP_PATH: Final = 0.6
INHERITED_RADPS: Final = 45.0 * _DEG
INHERITED_PLANE_RADPS: Final = 90.0 * _DEG
INHERITED_TURNS_RAD: Final = 1.0 * _TURN
ROLLED_BEFORE_S: Final = 0.3  # stalled for less when it rotates already: brought along
STEEP_TURNS_RAD: Final = 0.5 * _TURN
STEEP_FAST_TURNS_RAD: Final = 1.25 * _TURN
FAST_ROLL_RADPS: Final = 150.0 * _DEG
STEEP_AGE_S: Final = 1.2
STALLED_BEFORE_S: Final = 0.5  # a wing stalled this long before the rotation began was not rolled on purpose

# Without alpha: r against p as in a spin flatter than 65 deg, and the carried flow this far out of belly or back.
FLAT_SLOPE: Final = 2.145
FLAT_BELLY: Final = 0.5
FLAT_YAW_RADPS: Final = 60.0 * _DEG  # slower, the nose may only be swinging

# Sideslip told by the rates alone goes no further than this (tan beta).
SIDESLIP_SLOPE: Final = 0.8

# Without alpha: a rotation this small a part of the spin's, for this long, is over: a dive near the stall looks like more.
DEEP_SHARE: Final = 0.4
DEEP_S: Final = 2.0
DEEP_TURNS: Final = 0.6

# Un-stall: after recovery controls the edge rises to this share of the spin's own alpha (at most the plan's stall).
EDGE_SHARE: Final = 0.62
# Without alpha: r/p below this share of the stall angle, rotation below this share of its recent peak; dated to where
# it left the peak. The peak is forgotten over a few seconds.
RATES_EDGE_SHARE: Final = 0.85
COLLAPSED: Final = 0.75
LEAVES_PEAK: Final = 0.95
PEAK_S: Final = 4.0

# In a spin the way the aircraft goes is drawn towards the rotation's axis over this much of it.
FLOW_TURNS_RAD: Final = 1.6 * _TURN

# Without alpha, once the path has had this many turns to become vertical: alpha is the angle from the nose to down.
BELLY_TURNS_RAD: Final = 1.9 * _TURN
BELLY_HOLD_S: Final = 0.6  # enough when it stands deep below the stall
BELLY_WAIT_S: Final = 0.6  # for that angle to follow when the rates alone already say un-stalled
BELLY_BACK_S: Final = 2.5  # older than this it is not the same event
# The rotation leaves its peak this much after the wing flies again; further apart than this the two are not one event.
FALL_LATE_S: Final = 0.08
WITNESSES_APART_S: Final = 0.5

# Without alpha: the side the rates say is up, smoothed, must stand this far against the spin for this long to end it.
FLIP_S: Final = 0.5
FLIPPED: Final = -0.4

# Making an end known: part of a turn, within limits in seconds.
UNSTALL_HOLD_TURNS: Final = 0.3
UNSTALL_HOLD_S: Final = (0.45, 1.2)
UNSTALL_RATES_HOLD_TURNS: Final = 0.34
UNSTALL_RATES_HOLD_S: Final = (0.45, 1.8)
# Barely below the edge with the rotation whole: alpha swings about the stall once per turn, so that much longer.
SHALLOW_RAD: Final = 2.5 * _DEG
SHALLOW_HOLD: Final = 2.0
FLYING_HOLD_TURNS: Final = 0.12
FLYING_HOLD_S: Final = (0.2, 0.5)
STOP_HOLD_TURNS: Final = 0.35
STOP_HOLD_S: Final = (0.6, 1.5)
TURNED_AGAIN_RADPS: Final = 25.0 * _DEG  # a rotation that has gone back this fast has stopped

# Standard uncertainty of the start's and of the end's date: with vanes (and attitude, for the start), else.
START_SD_S: Final = (0.08, 0.8)
END_SD_S: Final = (0.05, 0.35)
TURN_DATE_SD_S: Final = 0.02
LOSS_SHARE: Final = 0.005
HOLE_EDGE_S: Final = 0.2
START_SINK: Final = 0.35  # of the sink when the spin becomes known, it had at its start
# Rotation at the start of a spin, for the turns an uncertain start time is worth.
ENTRY_ROTATION_RADPS: Final = 110.0 * _DEG

# Modes: classes by |alpha| with hysteresis (agreed); oscillatory is our own label.
MODE_EDGES_RAD: Final = (30.0 * _DEG, 45.0 * _DEG, 65.0 * _DEG)
MODE_HYSTERESIS_RAD: Final = 3.0 * _DEG
OSCILLATORY_SHARE: Final = 0.22

# Controls: a movement counts once it passes this part of full travel, dated to where it left the held value.
CONTROL_MOVED: Final = 0.30
CONTROL_EASED_S: Final = 2.0  # a movement that has not become a recovery by then: it is held there now
STICK_ALONE: Final = 0.30  # the stick without the pedal: eased, but held further than this, it is no recovery
CONTROL_LEFT: Final = 0.06
CONTROL_HOLD_S: Final = 0.6
TAKEN_BACK_S: Final = 0.7  # back where they were held for this long, the rotation whole: the recovery was given up
MARK_ALONE_S: Final = 2.5  # so long after a mark hands that can be seen have moved, or it was a slip
CONTROL_STAYS: Final = 3  # values in a row, and for this long: a wild point or a burst of zeros is no pilot
CONTROL_STAYS_S: Final = 0.15

# Control telemetry counts as there after this long with it, and no longer after as long without it.
CONTROLS_SEEN_S: Final = 5.0
CONTROLS_HOLD_NS: Final = 1_000_000_000  # it may come more slowly than the frames
# Without it: the recovery began when the rotation last stood above this share of its turn mean, and the nose
# above this share of the turn's alpha from down.
WHOLE_ROTATION: Final = 0.85
NOSE_FALLS: Final = 0.8
CONTROLS_BEFORE_END_S: Final = 0.5  # no sooner before the end than controls take to un-stall a wing

# Quality.
FLAG_HOLD_S: Final = 1.0
STUCK_S: Final = 1.0
STUCK_ALTITUDE_S: Final = 2.0
LEVEL_STAYS_STILL_NS: Final = 10_000_000_000  # one that stands bit for bit, while little moves; in a spin never
# An encoder that counts in larger steps than this lets a value stand for seconds in a steady spin.
COARSE_RAD: Final = 0.1 * _DEG  # or rad/s
COARSE_ALTITUDE_M: Final = 1.5
COARSE_SAME_S: Final = 3.0
COARSE_STUCK_S: Final = 8.0
COARSE_STANDS_S: Final = 2.0
STANDS_S: Final = 0.1
LEVEL_STAYS_NS: Final = 1_000_000_000  # another level of altitude is believed after this long, a burst of zeros never
FALLING_MPS: Final = 20.0  # an altitude that stands while it was falling so fast has stopped moving, not the aircraft
BLIND_DIVE_S: Final = 8.0  # without altitude, the dive is over when the aircraft flies straight so long after
STUCK_MOVING_RADPS: Final = 40.0 * _DEG
ZERO_MOVING_RADPS: Final = 10.0 * _DEG
MISSING_S: Final = 0.2
DEAD_RATE_S: Final = 0.5  # a rate missing for longer comes from the attitude; without it turns are a lower bound
# A channel that always comes more slowly is missing beyond this many times its own spacing; one slower than this is none.
SLOW_VALUES: Final = 4
SLOW_SPACINGS: Final = 2.5
SLOWEST_CHANNEL_S: Final = 1.5
CLIP_SHARE: Final = 0.99
CLIP_SAME_S: Final = 0.2
# A vane at its stop below this angle hides whether the wing is stalled: then the rates stand in for alpha.
PEGGED_ALPHA_RAD: Final = 22.0 * _DEG
CLIP_LEAST_RADPS: Final = 50.0 * _DEG
AHEAD_S: Final = 10.0
CLOCK_SET_S: Final = 5.0
BACK_S: Final = 2.0
GAP_S: Final = 0.35
GAP_TURN_SHARE: Final = 0.3
RESUMED_S: Final = (
    0.2  # after a gap the first rate may be a wild one: one that could not be reached in this is not believed alone
)
DOWN_LOST_RAD: Final = 0.35  # down carried no surer than this says little about the vertical
WHOLE_TURN_DOUBT_RAD: Final = (
    120.0 * _DEG
)  # rotation over a gap this far from the predicted: half a turn is added to the uncertainty
VANE_HOLD_NS: Final = 300_000_000  # a vane sampled more slowly than the frames is held for this long

# Quasi-steady straight flight: the reference for carried attitude and for gyro bias.
CALM_RADPS: Final = 3.0 * _DEG
CALM_S: Final = 1.5
LEVEL_S: Final = 4.0
BIAS_S: Final = 30.0
BIAS_ATTITUDE_S: Final = 8.0
BIAS_MISS_RAD: Final = 0.04  # a miss this far beyond twice the usual is no bias but a wild, held or stuck value
BIAS_LIMIT_RADPS: Final = 4.0 * _DEG
# Before a spin the aircraft is slowed towards the stall, nose some 10 deg up (5 deg either way covers cruise and stall).
CRUISE_PITCH_RAD: Final = 10.0 * _DEG
# In a climb it stands higher by the path's angle. Beyond a small rate of climb a slow pitch-up is no gyro bias.
CRUISE_PITCH_SD_RAD: Final = 6.0 * _DEG
NOSE_LEAST_SD_RAD: Final = 3.0 * _DEG
CRUISE_SPEED_MPS: Final = 80.0  # turns a rate of climb into a path angle, within a factor of two
CRUISE_CLIMB_MPS: Final = 3.0
SPIN_AXIS_SD_RAD: Final = 15.0 * _DEG  # a spin's axis from the vertical, through its entry and its swings
ATTITUDE_EVERY_S: Final = 0.035
# Attitude that turns this much otherwise than the gyros over this long is not believed; that many good checks bring it back.
ATTITUDE_CHECK_S: Final = 0.4
ATTITUDE_BAD_RADPS: Final = 28.0 * _DEG
ATTITUDE_GOOD_CHECKS: Final = 3

# A spiral: turning and sinking for a good part of a circle. A descending turn in the pattern is slower and sinks less.
SPIRAL_RADPS: Final = 8.0 * _DEG
SPIRAL_SINK_MPS: Final = 8.0
SPIRAL_TURNED_RAD: Final = 0.3 * _TURN
