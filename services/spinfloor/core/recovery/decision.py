"""The decision step: after every frame or tick, altitude left, the result of a recovery, and the calls. Compiled.

`decide` reads the face of the motion record and nothing else of the detector, remembers what it needs in one record
(`state.DECISION_DTYPE`), and hands out events of codes 6 (recovered), 7 (call) and 8 (floor crossed).
The tool advises; the crew, the test conductor and the approved plan decide.
"""

from typing import Final

import numpy as np

from spinfloor.core.compiled import inner, shared
from spinfloor.core.detector.emission import CODE_FLOOR_CROSSED, P_EVIDENCE, emit
from spinfloor.core.recovery.calls import issue_one
from spinfloor.core.recovery.conditions import (
    check_abandon,
    check_cautions,
    check_changes,
    check_chute,
    check_recover,
    clock_set_back,
    drop_guesses,
    drop_stale,
    follow_floors,
    height_to_watch,
    hold,
    keep_sure,
    lead_s,
    sink_ahead,
    wait_for_channel,
)
from spinfloor.core.recovery.estimate import refresh_predictions, update_before_spin, update_in_spin
from spinfloor.core.recovery.outcome import follow_holes, freeze_prediction, take_result
from spinfloor.core.recovery.reasons import FIRST_STATUS, TURNED_INVERTED
from spinfloor.core.recovery.state import CARDS_DTYPE, DECISION_DTYPE, new_decision

STEP_NS: Final = 45_000_000  # time from one full step to the next: 20 a second at 20, 40 and 100 frames a second
BROKEN_OFF: Final = 0.5  # a spin ended before this part of its card's turns leaves the card to be flown again; our own
FLOOR_HYSTERESIS_M: Final = 15.0  # climb this far above a floor before it can be crossed again; our own
P_WHICH: Final = 0
P_FLOOR: Final = 1
P_ALTITUDE: Final = 2
P_IN_SPIN: Final = 3
P_ESTIMATED: Final = 4


@inner
def _begin_spin(motion, decision, cards):
    """Take up a spin that has just become known: its card, and every call's memory cleared."""
    changed = motion.reversed_now == 1 or motion.restarted_now == 1 or motion.turned_inverted_now == 1
    another = decision.levelled == 1 or not changed
    if decision.levelled == 0 and another and decision.card_chosen == 0:
        decision.card_index = _next_card(decision, cards)
    if another:
        decision.card_turns = 0.0
    planned = _take_card(motion, decision, cards, another)
    decision.spin_ordinal = motion.spin_ordinal
    decision.levelled = 0
    decision.card_chosen = 0
    decision.turn_called = 0
    decision.watch_m = np.inf  # every frame, until the next regular step has worked out what to watch
    decision.prediction = 0
    card = decision.card_index
    decision.planned_turns = cards[card].turns if planned and 0 <= card < len(cards) else np.nan
    for call in range(6):
        decision.active[call] = 0
        decision.silenced[call] = 0
        decision.spoken[call] = 0
        decision.sure[call] = 0
        decision.repeats[call] = 0
    decision.was_flattening = 0
    decision.was_degraded = 0
    decision.degraded_clear_ns = 0
    decision.power_since_ns = 0
    decision.power_called = 0
    decision.power_off_ns = 0
    decision.pending &= ~(-1 << FIRST_STATUS)  # status words of the last spin are old news


@inner
def _take_card(motion, decision, cards, another):
    """Whether the card's turns are planned for this spin; `another`: it is no change of the spin before.

    A departure the other way that then becomes the card's spin has not used the card up.
    """
    card = decision.card_index
    side = cards[card].orientation if 0 <= card < len(cards) else 0
    flown = side == motion.orientation and cards[card].direction == motion.direction
    if another:
        decision.card_flown = 0
    planned = another or (flown and decision.card_flown == 0)
    if flown:
        decision.card_flown = 1
    decision.inverted_planned = 1 if another and motion.orientation < 0 and side < 0 else 0
    if another and motion.orientation < 0 < side:
        wait_for_channel(decision, TURNED_INVERTED, motion.time_ns)
    return planned


@inner
def _next_card(decision, cards):
    """The card after the one flown, -1 behind the last; the same again when the spin was broken off."""
    index = decision.card_index
    if 0 <= index < len(cards) and decision.card_turns < BROKEN_OFF * cards[index].turns:
        return index
    return index + 1 if 0 <= index < len(cards) - 1 else -1


@inner
def _cross_floor(motion, decision, which, floor_m, ints, floats, cursor):
    altitude = motion.altitude_m
    if np.isnan(floor_m) or np.isnan(altitude):
        return
    side = decision.floor_side[which]
    if altitude > floor_m + FLOOR_HYSTERESIS_M or (side == 0 and altitude > floor_m):
        decision.floor_side[which] = 1
    elif altitude <= floor_m:
        decision.floor_side[which] = -1
        if side == 1:
            slot = emit(ints, floats, cursor, CODE_FLOOR_CROSSED, motion.time_ns, motion.time_ns)
            floats[slot, P_WHICH] = which
            floats[slot, P_FLOOR] = floor_m
            floats[slot, P_ALTITUDE] = altitude
            floats[slot, P_IN_SPIN] = motion.in_spin
            floats[slot, P_ESTIMATED] = motion.estimated
            floats[slot, P_EVIDENCE] = motion.evidence


@inner
def _cross_floors(motion, decision, settings, ints, floats, cursor):
    _cross_floor(motion, decision, 0, settings.recovery_floor_m, ints, floats, cursor)
    if settings.chute_fitted == 1.0:
        _cross_floor(motion, decision, 1, settings.chute_floor_m, ints, floats, cursor)
    _cross_floor(motion, decision, 2, settings.abandon_floor_m, ints, floats, cursor)


@inner
def _in_spin(motion, decision, beliefs, cards, settings):
    if motion.recovery_started_now == 1 or (motion.recovery_started == 1 and decision.prediction == 0):
        freeze_prediction(motion, decision, beliefs, cards, settings)
        update_in_spin(motion, decision, settings, False)


@inner
def _check_calls(motion, decision, cards, settings):
    drop_guesses(motion, decision)
    check_abandon(motion, decision, settings)
    check_chute(motion, decision, settings)
    check_recover(motion, decision, settings)
    keep_sure(motion, decision)
    card = decision.card_index
    check_cautions(motion, decision, 0 <= card < len(cards) and cards[card].power_on == 1)


@inner
def _after_level(motion, decision, beliefs, cards, settings, ints, floats, cursor):
    take_result(motion, decision, beliefs, settings, ints, floats, cursor)
    decision.flown_card = decision.card_index
    decision.levelled = 1
    decision.planned_turns = np.nan
    if decision.card_chosen == 0:
        decision.card_index = _next_card(decision, cards)


@inner
def _news(motion):
    """One-frame news of the motion record."""
    return (
        motion.spin_ended_now
        | motion.recovery_started_now
        | motion.level_now
        | motion.reversed_now
        | motion.restarted_now
        | motion.turned_inverted_now
        | motion.data_lost_now
        | motion.data_restored_now
    )


@inner
def _near_a_floor(motion, decision, settings):
    return motion.in_spin == 1 and motion.altitude_m - sink_ahead(motion) * lead_s(settings) <= decision.watch_m


@shared
def decide(motion, decision, beliefs, cards, settings, ints, floats, cursor):
    """One decision step: a full one every STEP_NS of the frames' own time, and at every frame near a floor.

    Frames between are passed over unless they carry news, which is then taken in; a call waits for the next full step.
    Everything hangs on the frames' time, nothing on how often this is called, so cutting the stream changes nothing.

    motion, decision, beliefs, settings: records (element 0 of arrays of shape (1,) of MOTION_DTYPE, DECISION_DTYPE,
    BELIEFS_DTYPE, SETTINGS_DTYPE). cards: CARDS_DTYPE, shape (n,), n may be 0. ints, floats, cursor: see emission.py.
    decision and, after a recovery, beliefs are changed in place; at most six events are emitted.
    """
    elapsed = motion.time_ns - decision.decided_ns
    regular = elapsed >= STEP_NS or elapsed < 0
    if elapsed < 0:
        clock_set_back(decision, settings, motion.time_ns)
    new_spin = motion.spin_ordinal != decision.spin_ordinal
    speak = regular or new_spin or _near_a_floor(motion, decision, settings)
    if not speak and _news(motion) == 0:
        return
    _take_in(motion, decision, beliefs, cards, settings, ints, floats, cursor)
    if speak:
        if motion.in_spin == 1:
            _check_calls(motion, decision, cards, settings)
        drop_stale(decision, motion.time_ns)
        issue_one(motion, decision, settings, ints, floats, cursor)
    if regular:
        decision.decided_ns = motion.time_ns
        decision.watch_m = height_to_watch(motion, decision, settings)


@inner
def _take_in(motion, decision, beliefs, cards, settings, ints, floats, cursor):
    follow_floors(decision, settings)
    follow_holes(motion, decision)
    if motion.spin_ended_now == 1:
        decision.card_turns = max(decision.card_turns, motion.turns)
    if motion.spin_ordinal != decision.spin_ordinal:
        _begin_spin(motion, decision, cards)
    in_spin = motion.in_spin == 1
    in_dive = not in_spin and decision.levelled == 0
    refresh_predictions(motion, decision, beliefs, cards, settings, in_spin or in_dive)
    if in_spin or in_dive:
        update_in_spin(motion, decision, settings, in_dive)
        decision.card_loss_index = -2
    else:
        update_before_spin(motion, decision, cards, settings)
    if in_spin:
        _in_spin(motion, decision, beliefs, cards, settings)
    elif motion.spin_ended_now == 1 and motion.recovery_started == 1 and decision.prediction == 0:
        freeze_prediction(motion, decision, beliefs, cards, settings)
    _cross_floors(motion, decision, settings, ints, floats, cursor)
    check_changes(motion, decision)
    if motion.level_now == 1 and decision.levelled == 0:
        _after_level(motion, decision, beliefs, cards, settings, ints, floats, cursor)


__all__ = [
    "CARDS_DTYPE",
    "DECISION_DTYPE",
    "decide",
    "hold",
    "lead_s",
    "new_decision",
    "wait_for_channel",
]
