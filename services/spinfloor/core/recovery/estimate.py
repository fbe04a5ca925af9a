"""Altitude left at this frame: which kind of spin, what is still to be lost, and the bounds. Compiled, no allocation.

Before a spin it answers for the next card; in a spin for controls going in now; after the controls for what of the
recovery remains; in the dive for what of the pull-out remains.
"""

from typing import Final

import numpy as np

from spinfloor.core.compiled import entry, inner
from spinfloor.core.recovery.altitude_left import add_independent, add_product, combine, loss_quantiles_m
from spinfloor.core.recovery.conditions import sink_ahead
from spinfloor.core.recovery.density import density_ratio
from spinfloor.core.recovery.excess import fill_excess, look_up_all
from spinfloor.core.recovery.learning import (
    LOSS_PER_TURN,
    MODE_NOT_KNOWN,
    PULL_OUT_LOSS,
    RECOVERY_TURNS,
    predict,
)
from spinfloor.core.recovery.quantiles import normal_quantile

# Our own settings, each with its reason.
TURN_TO_TURN_SPREAD: Final = 0.10  # the next turn costs the last one +-10 %: turns of one developed spin differ so much
SINK_AS_LOSS_SPREAD: Final = 0.25  # sink x period before a whole turn was measured: the path is still bending down
YOUNG_TURNS: Final = 2.0  # by then the sink is the developed spin's
LEAST_TURNS_LEFT: Final = 0.1  # while it still rotates, at least this much of a turn is still to come
CLIMB_ALLOWANCE_M: Final = 600.0  # further below the entry height than this, the aircraft is still climbing to it
LEAST_SINK_MPS: Final = 1.0  # below this sink no time is given
START_STEP_M: Final = 100.0  # the same for the height the card starts from: 1 % of air density
SD_STEP_M: Final = 0.5  # a change of the altitude's uncertainty below this leaves the card's loss as it is


@inner
def choose_kind(motion, decision, cards, in_hand):
    """Orientation 0/1, direction 0/1, mode 0-4 of the spin in hand, from the card where the motion does not say."""
    orientation = 0
    direction = 0
    mode = -1
    if in_hand:
        orientation = motion.orientation
        direction = motion.direction
        mode = motion.mode
    card = decision.card_index
    if 0 <= card < len(cards):
        if orientation == 0:
            orientation = cards[card].orientation
        if direction == 0:
            direction = cards[card].direction
        if mode < 0 and not in_hand:
            mode = cards[card].mode
    return (1 if orientation < 0 else 0), (1 if direction < 0 else 0), (mode if mode >= 0 else MODE_NOT_KNOWN)


@inner
def _refill(decision, beliefs, orientation, direction, mode):
    decision.cached_kind[0] = orientation
    decision.cached_kind[1] = direction
    decision.cached_kind[2] = mode
    decision.cached_revision = beliefs.revision
    decision.card_loss_index = -2
    turns = decision.turns_prediction
    pull_out = decision.pull_out_prediction
    predict(beliefs, RECOVERY_TURNS, orientation, direction, mode, turns)
    predict(beliefs, LOSS_PER_TURN, orientation, direction, mode, decision.loss_prediction)
    predict(beliefs, PULL_OUT_LOSS, orientation, direction, mode, pull_out)
    decision.turns_step = fill_excess(decision.turns_excess, turns[0], turns[1], turns[2])
    decision.pull_out_step = fill_excess(decision.pull_out_excess, pull_out[0], pull_out[1], pull_out[2])


@entry
def refresh_predictions(motion, decision, beliefs, cards, settings, in_hand):
    """Refill the cached predictions when the kind of spin or the beliefs have changed since."""
    orientation, direction, mode = choose_kind(motion, decision, cards, in_hand)
    if np.isnan(decision.z_bound):
        decision.z_bound = normal_quantile(settings.cautious_bound)
    kind = decision.cached_kind
    if (
        kind[0] != orientation
        or kind[1] != direction
        or kind[2] != mode
        or decision.cached_revision != beliefs.revision
    ):
        _refill(decision, beliefs, orientation, direction, mode)


@inner
def loss_per_turn(motion, decision, settings, in_hand):
    """(mean, variance) of the loss per turn to expect: the belief corrected by what this spin shows.

    While a spin is young its sink still builds up: what it shows is as unsure as the sink has to go to the expected one.
    """
    p = decision.loss_prediction
    mean = p[0]
    variance = p[1] * p[1] * p[2] / (p[2] - 2.0)
    if not in_hand:
        return mean, variance
    to_come = 0.0
    if motion.turns < YOUNG_TURNS and motion.turn_period_s > 0.0:
        to_come = max(settings.expected_sink_mps - max(motion.sink_mps, 0.0), 0.0) * motion.turn_period_s
    if motion.loss_per_turn_m > 0.0:
        spread = TURN_TO_TURN_SPREAD * motion.loss_per_turn_m + to_come
        sd = motion.loss_per_turn_sd_m
        if np.isnan(sd):
            sd = spread
        return combine(mean, variance, motion.loss_per_turn_m, sd * sd + spread * spread)
    seen = motion.sink_mps * motion.turn_period_s
    if seen > 0.0:
        spread = SINK_AS_LOSS_SPREAD * seen + to_come
        return combine(mean, variance, seen, spread * spread)
    return mean, variance


@inner
def _add_turns(decision, used, l_mean, l_var, more_turns):
    """Add (planned turns to go + recovery turns to come) x loss per turn."""
    mean, variance, third, fourth = look_up_all(decision.turns_excess, decision.turns_step, used)
    to_come = max(mean, LEAST_TURNS_LEFT)
    decision.recovery_turns_left = to_come
    add_product(decision.moments, more_turns + to_come, variance, third, fourth, l_mean, l_var)


@inner
def add_pull_out(decision, used, ratio, share):
    """Add the dive and pull-out still to come after `used` metres of it, in air of this density ratio.

    share: of what would be expected after that many metres, from how far the path has risen already.
    """
    mean, variance, third, fourth = look_up_all(decision.pull_out_excess, decision.pull_out_step, used * ratio)
    left = mean * share / ratio
    s = np.sqrt(share) / ratio  # of the spread more is left than of the loss
    decision.pull_out_left_m = left
    add_independent(decision.moments, left, variance * s * s, third * s * s * s, fourth * s * s * s * s)


@inner
def arc_left(motion, decision):
    """The part of the pull-out still to come at most: the square of the sink over its largest in this dive.

    Derived in docs/method/pull-out.md.
    """
    sink = max(motion.sink_mps, 0.0)
    decision.dive_sink_mps = max(decision.dive_sink_mps, sink)
    if not decision.dive_sink_mps > LEAST_SINK_MPS:
        return 1.0
    return (sink / decision.dive_sink_mps) ** 2


@inner
def air_density_ratio(motion, settings):
    """Density ratio where the recovery controls went in, or would go in now."""
    height = motion.altitude_m
    if motion.recovery_started == 1:
        height = motion.recovery_start_altitude_m
    elif motion.in_spin == 0:
        height = motion.spin_end_altitude_m
    return density_ratio(height - settings.altitude_offset_m)


@inner
def _entry_altitude(motion, decision, cards):
    """Height the next card would be flown from: its entry height, or the height held when that is a little lower."""
    card = decision.card_index
    if not 0 <= card < len(cards):
        return motion.altitude_m
    entry = cards[card].entry_altitude_m
    now = motion.altitude_m
    if entry - CLIMB_ALLOWANCE_M <= now < entry:
        return now
    return entry


@inner
def _loss_in_spin(motion, decision, settings, l_mean, l_var):
    used = 0.0
    if motion.recovery_started == 1:
        used = motion.turns - motion.recovery_start_turns
    else:
        sink_sd = motion.sink_sd_mps if motion.sink_sd_mps > 0.0 else 0.0
        reaction = settings.reaction_s * sink_ahead(motion)
        add_independent(decision.moments, reaction, (settings.reaction_s * sink_sd) ** 2, 0.0, 0.0)
    _add_turns(decision, used, l_mean, l_var, 0.0)


@inner
def _add_altitude(motion, decision):
    if motion.altitude_sd_m > 0.0:
        add_independent(decision.moments, 0.0, motion.altitude_sd_m * motion.altitude_sd_m, 0.0, 0.0)


@inner
def _set_left(decision, above, median, bound, optimistic):
    decision.left_median_m = above - median
    decision.left_bound_m = above - bound
    decision.left_optimistic_m = above - optimistic
    decision.left_turns_median = decision.left_median_m / decision.loss_per_turn_m
    decision.left_turns_bound = decision.left_bound_m / decision.loss_per_turn_m


@inner
def update_in_spin(motion, decision, settings, in_dive):
    """Altitude left in a spin or in the dive after it; leaves the loss's cumulants in decision.moments."""
    decision.moments[:] = 0.0
    l_mean, l_var = loss_per_turn(motion, decision, settings, True)
    decision.loss_per_turn_m = l_mean
    decision.loss_per_turn_sd_m = np.sqrt(l_var)
    used = 0.0
    share = 1.0
    if in_dive:
        decision.recovery_turns_left = 0.0
        used = motion.spin_end_altitude_m - motion.altitude_m
        share = arc_left(motion, decision)
    else:
        decision.dive_sink_mps = 0.0
        _loss_in_spin(motion, decision, settings, l_mean, l_var)
    add_pull_out(decision, used, air_density_ratio(motion, settings), share)
    _add_altitude(motion, decision)
    median, bound, optimistic = loss_quantiles_m(decision.moments, decision.z_bound)
    _set_left(decision, motion.altitude_m - settings.recovery_floor_m, median, bound, optimistic)
    sink = motion.sink_mps
    steady = sink >= LEAST_SINK_MPS
    decision.left_seconds_median = decision.left_median_m / sink if steady else np.nan
    decision.left_seconds_bound = decision.left_bound_m / sink if steady else np.nan


@inner
def _card_loss(motion, decision, cards, settings):
    """Work out the next card's loss: turns to pay for, reaction, recovery, pull-out. Kept until something changes."""
    decision.moments[:] = 0.0
    l_mean, l_var = loss_per_turn(motion, decision, settings, False)
    decision.loss_per_turn_m = l_mean
    decision.loss_per_turn_sd_m = np.sqrt(l_var)
    card = decision.card_index
    has_card = 0 <= card < len(cards)
    to_pay = cards[card].turns_to_pay if has_card else 0.0
    _add_turns(decision, 0.0, l_mean, l_var, to_pay)
    start = _entry_altitude(motion, decision, cards)
    add_pull_out(decision, 0.0, density_ratio(start - to_pay * l_mean - settings.altitude_offset_m), 1.0)
    add_independent(decision.moments, settings.reaction_s * settings.expected_sink_mps, 0.0, 0.0, 0.0)
    _add_altitude(motion, decision)
    median, bound, optimistic = loss_quantiles_m(decision.moments, decision.z_bound)
    decision.card_loss_m[0] = median
    decision.card_loss_m[1] = bound
    decision.card_loss_m[2] = optimistic
    decision.card_loss_index = card
    decision.card_loss_sd_m = motion.altitude_sd_m
    decision.card_loss_start_m = start


@entry
def update_before_spin(motion, decision, cards, settings):
    """Altitude left if the next card were flown from its entry height (or the height held, a little below it)."""
    sd = motion.altitude_sd_m
    held = decision.card_loss_sd_m
    same_sd = abs(sd - held) <= SD_STEP_M or (np.isnan(sd) and np.isnan(held))
    start = _entry_altitude(motion, decision, cards)
    same_start = abs(start - decision.card_loss_start_m) <= START_STEP_M
    if decision.card_loss_index != decision.card_index or not (same_sd and same_start):
        _card_loss(motion, decision, cards, settings)
        decision.left_seconds_median = np.nan
        decision.left_seconds_bound = np.nan
    loss = decision.card_loss_m
    _set_left(decision, start - settings.recovery_floor_m, loss[0], loss[1], loss[2])
