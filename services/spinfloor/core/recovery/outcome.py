"""From the controls going in to level flight: the prediction, the result against it, and the lesson. Compiled."""

from typing import Final

import numpy as np

from spinfloor.core.compiled import inner
from spinfloor.core.detector.emission import CODE_RECOVERED, P_EVIDENCE, emit
from spinfloor.core.recovery.altitude_left import add_independent, add_product, loss_quantile_m
from spinfloor.core.recovery.estimate import add_pull_out, air_density_ratio, loss_per_turn, refresh_predictions
from spinfloor.core.recovery.excess import ROW_FOURTH, ROW_MEAN, ROW_THIRD, ROW_VARIANCE
from spinfloor.core.recovery.learning import LOSS_PER_TURN, PULL_OUT_LOSS, RECOVERY_TURNS, learn
from spinfloor.core.recovery.quantiles import student_quantile

Z_995: Final = 2.5758293035489004  # normal quantile of 0.995
LEAST_PULL_OUT_PART: Final = 0.02  # of the whole loss: keeps a lesson positive when turns explain all of it

# Payload of a recovered event.
P_LEVEL: Final = 0
P_LOSS: Final = 1
P_MARGIN: Final = 2
P_PREDICTED_MARGIN: Final = 3
P_PREDICTED_BOUND_MARGIN: Final = 4
P_SURPRISE: Final = 5
P_TURNS: Final = 6
P_TURNS_PREDICTED: Final = 7
P_TURNS_HIGH: Final = 8
P_LOSS_PER_TURN: Final = 9
P_PULL_OUT: Final = 10
P_LOW_MARGIN: Final = 11
P_HIGH_MARGIN: Final = 12
P_KIND: Final = 13
P_SPINS: Final = 14
P_CARD: Final = 15
P_DENSITY: Final = 16
P_SOURCE: Final = 17

INFERRED: Final = (
    3  # recovery_source of controls nobody measured or marked: dated late, so they teach and judge nothing
)

HOLE_NS: Final = 600_000_000  # no frame for longer: what is dated in it, or at its edge, may have been anywhere in it
HOLE_EDGE_NS: Final = 300_000_000
HOLED: Final = 10  # added to the source in the payload

# Surprise bits.
SURPRISE_TURNS: Final = 1
SURPRISE_ALTITUDE: Final = 2


@inner
def _in_hole(decision, when_ns):
    inside = decision.hole_from_ns - HOLE_EDGE_NS <= when_ns <= decision.hole_to_ns + HOLE_EDGE_NS
    return decision.hole_to_ns > 0 and inside


@inner
def follow_holes(motion, decision):
    """Stretches without frames, and whether the recovery's beginning or end lies in one."""
    before = decision.frame_seen_ns
    decision.frame_seen_ns = motion.frame_ns
    if before > 0 and motion.frame_ns - before > HOLE_NS:
        decision.hole_from_ns = before
        decision.hole_to_ns = motion.frame_ns
        if motion.in_spin == 1 and motion.recovery_started == 1:
            decision.holed = 1
    if motion.recovery_started_now == 1:
        decision.holed = 1 if _in_hole(decision, motion.recovery_start_ns) else 0
    if motion.spin_ended_now == 1 and _in_hole(decision, motion.spin_end_ns):
        decision.holed = 1


@inner
def _moments_at_controls(motion, decision, settings):
    l_mean, l_var = loss_per_turn(motion, decision, settings, True)
    decision.used_loss_per_turn_m = l_mean
    turns = decision.turns_excess
    decision.moments[:] = 0.0
    add_product(
        decision.moments,
        turns[ROW_MEAN, 0],
        turns[ROW_VARIANCE, 0],
        turns[ROW_THIRD, 0],
        turns[ROW_FOURTH, 0],
        l_mean,
        l_var,
    )
    add_pull_out(decision, 0.0, decision.density_ratio, 1.0)
    if motion.altitude_sd_m > 0.0:
        add_independent(decision.moments, 0.0, motion.altitude_sd_m * motion.altitude_sd_m, 0.0, 0.0)


@inner
def freeze_prediction(motion, decision, beliefs, cards, settings):
    """At the frame that makes the recovery controls known: predict level flight from where they went in."""
    refresh_predictions(motion, decision, beliefs, cards, settings, True)
    decision.density_ratio = air_density_ratio(motion, settings)
    _moments_at_controls(motion, decision, settings)
    start = motion.recovery_start_altitude_m
    decision.prediction = 1
    decision.predicted_level_m = start - loss_quantile_m(decision.moments, 0.0)
    decision.predicted_bound_m = start - loss_quantile_m(decision.moments, decision.z_bound)
    decision.predicted_low_m = start - loss_quantile_m(decision.moments, Z_995)
    decision.predicted_high_m = start - loss_quantile_m(decision.moments, -Z_995)
    p = decision.turns_prediction
    reach = student_quantile(0.995, p[2]) * p[1]
    decision.predicted_turns = p[0]
    decision.predicted_turns_low = p[0] - reach
    decision.predicted_turns_high = p[0] + reach
    decision.measured_loss_per_turn_m = motion.loss_per_turn_m
    decision.prediction_spins = p[3]
    for i in range(3):
        decision.kind[i] = decision.cached_kind[i]


@inner
def _surprise(decision, turns, level, measured):
    bits = 0
    if not measured:  # from controls dated too late only "lower than predicted" is sure to be one
        return SURPRISE_ALTITUDE if level < decision.predicted_low_m else 0
    if turns > decision.predicted_turns_high or turns < decision.predicted_turns_low:
        bits |= SURPRISE_TURNS
    if level < decision.predicted_low_m or level > decision.predicted_high_m:
        bits |= SURPRISE_ALTITUDE
    return bits


@inner
def take_result(motion, decision, beliefs, settings, ints, floats, cursor):
    """At level flight: emit `recovered`, compare with the prediction, learn. One lesson per prediction."""
    level = motion.level_altitude_m
    floor = settings.recovery_floor_m
    slot = emit(ints, floats, cursor, CODE_RECOVERED, motion.level_ns, motion.time_ns)
    out = floats[slot]
    out[P_LEVEL] = level
    out[P_MARGIN] = level - floor
    out[P_CARD] = decision.card_index
    out[P_EVIDENCE] = motion.evidence
    if decision.prediction == 0:
        out[P_LOSS] = motion.spin_end_altitude_m - level
        return
    turns = motion.turns - motion.recovery_start_turns
    loss = motion.recovery_start_altitude_m - level
    pull_out = max(loss - turns * decision.used_loss_per_turn_m, LEAST_PULL_OUT_PART * loss)
    kind = decision.kind
    holed = decision.holed == 1 or _in_hole(decision, motion.level_ns)
    measured = motion.recovery_source != INFERRED and not holed
    out[P_SOURCE] = motion.recovery_source + (HOLED if holed else 0)
    out[P_LOSS] = loss
    out[P_PREDICTED_MARGIN] = decision.predicted_level_m - floor
    out[P_PREDICTED_BOUND_MARGIN] = decision.predicted_bound_m - floor
    out[P_SURPRISE] = _surprise(decision, turns, level, measured)
    out[P_TURNS] = turns
    out[P_TURNS_PREDICTED] = decision.predicted_turns
    out[P_TURNS_HIGH] = decision.predicted_turns_high
    out[P_LOSS_PER_TURN] = decision.measured_loss_per_turn_m
    out[P_PULL_OUT] = pull_out
    out[P_LOW_MARGIN] = decision.predicted_low_m - floor
    out[P_HIGH_MARGIN] = decision.predicted_high_m - floor
    out[P_KIND] = (kind[0] * 2 + kind[1]) * 5 + kind[2]
    out[P_SPINS] = decision.prediction_spins
    out[P_DENSITY] = decision.density_ratio
    if measured and turns >= 0.0 and loss > 0.0:
        learn(beliefs, RECOVERY_TURNS, kind[0], kind[1], kind[2], turns)
        learn(beliefs, LOSS_PER_TURN, kind[0], kind[1], kind[2], decision.measured_loss_per_turn_m)
        learn(beliefs, PULL_OUT_LOSS, kind[0], kind[1], kind[2], pull_out * decision.density_ratio)
        beliefs.revision += 1
    decision.prediction = 0
    decision.predicted_level_m = np.nan
    decision.predicted_bound_m = np.nan
