"""Which call is issued now, if any: priorities, cut-off, repetition. Compiled; at most one call per step.

The channel is busy for the speaking time after each call. A higher call cuts a lower one off; a lower or equal one
waits until the channel is free, and a turn word that would come late is passed over rather than spoken wrong.
"""

from typing import Final

import numpy as np

from spinfloor.core.compiled import inner
from spinfloor.core.detector.emission import CODE_CALL, P_EVIDENCE, emit
from spinfloor.core.recovery.conditions import NS_PER_S, lead_s, obeyed, sink_ahead, turns_to_call
from spinfloor.core.recovery.reasons import (
    ABANDON,
    ABANDON_FLOOR,
    CAUTION,
    CHUTE,
    CHUTE_FLOOR,
    FIRST_REASON,
    FIRST_STATUS,
    RECOVER,
    RECOVERED,
    STATUS,
    TURN,
    WAITING_REASONS,
    WHOLE_TURN,
)

LATE_TURN: Final = 0.30  # of a turn: a turn word later than this would be taken for the next one

# Payload of a call event.
P_CALL: Final = 0
P_REASON: Final = 1
P_TURN: Final = 2
P_ALTITUDE: Final = 3
P_LEFT_MEDIAN: Final = 4
P_LEFT_BOUND: Final = 5
P_ESTIMATED: Final = 6
P_DEGRADED: Final = 7
P_TURNS: Final = 8
P_PLANNED: Final = 9
P_SINK: Final = 10
P_LEAD: Final = 11
P_FLOOR: Final = 12
P_REPEAT: Final = 13
P_RECOVERY_TURNS: Final = 14
P_CARD: Final = 15


@inner
def channel_free(decision, call, now_ns):
    """A call may be issued when nothing is being spoken, or when it outranks what is."""
    return now_ns >= decision.busy_until_ns or call > decision.busy_call


@inner
def highest_bit(bits):
    """Position of the highest set bit; bits must be positive."""
    position = 0
    while bits >> (position + 1) != 0:
        position += 1
    return position


@inner
def _floor_for(call, reason, settings):
    if call == ABANDON:
        return settings.abandon_floor_m if reason == ABANDON_FLOOR else settings.ground_m
    if call == CHUTE and reason == CHUTE_FLOOR:
        return settings.chute_floor_m
    return settings.recovery_floor_m


@inner
def issue(motion, decision, settings, call, reason, turn, ints, floats, cursor):
    """Emit the call with the numbers behind it and take the channel."""
    now = motion.time_ns
    decision.busy_call = call
    decision.busy_until_ns = now + int(settings.speaking_s * NS_PER_S)
    decision.issued_ns[call] = now
    decision.repeats[call] += 1
    slot = emit(ints, floats, cursor, CODE_CALL, now, now)
    out = floats[slot]
    out[P_CALL] = call
    out[P_REASON] = reason
    out[P_TURN] = turn
    out[P_ALTITUDE] = motion.altitude_m
    out[P_EVIDENCE] = motion.evidence
    out[P_LEFT_MEDIAN] = decision.left_median_m
    out[P_LEFT_BOUND] = decision.left_bound_m
    if reason == RECOVERED:  # level again: nothing more is lost
        out[P_LEFT_MEDIAN] = out[P_LEFT_BOUND] = motion.level_altitude_m - settings.recovery_floor_m
    out[P_ESTIMATED] = motion.estimated
    out[P_DEGRADED] = motion.degraded
    out[P_TURNS] = turns_to_call(motion, settings)
    out[P_PLANNED] = decision.planned_turns
    if not np.isnan(motion.altitude_m):  # without a height there is no sink either
        out[P_SINK] = sink_ahead(motion) if RECOVER <= call <= ABANDON else motion.sink_mps
    out[P_LEAD] = lead_s(settings)
    out[P_FLOOR] = _floor_for(call, reason, settings)
    out[P_REPEAT] = decision.repeats[call] - 1 if call >= RECOVER else 0
    if motion.recovery_started == 1:
        out[P_RECOVERY_TURNS] = motion.turns - motion.recovery_start_turns
    out[P_CARD] = decision.flown_card if reason == RECOVERED else decision.card_index


@inner
def _repeat_due(decision, settings, call, now_ns):
    if decision.repeats[call] == 0:
        return True
    return now_ns - decision.issued_ns[call] >= int(settings.repeat_call_s * NS_PER_S)


@inner
def _issue_repeating(motion, decision, settings, ints, floats, cursor):
    """The highest of abandon, chute and recover that stands and is not silenced; True when it was issued.

    A lower one is not said in the pauses of a higher one, nor after an *abandon* that was acknowledged: after *abandon*
    nobody shall hear *recover*. Of two reasons the graver is said.
    """
    for call in range(ABANDON, RECOVER - 1, -1):
        if call == RECOVER and obeyed(motion, settings):
            continue
        bits = decision.active[call] & ~decision.silenced[call]
        if bits == 0:
            if decision.active[ABANDON] != 0:
                return False
            continue
        if _repeat_due(decision, settings, call, motion.time_ns) and channel_free(decision, call, motion.time_ns):
            bit = highest_bit(bits)
            decision.spoken[call] |= 1 << bit
            reason = FIRST_REASON[call] + bit
            issue(motion, decision, settings, call, reason, -1.0, ints, floats, cursor)
            return True
        return False
    return False


@inner
def _issue_waiting(motion, decision, settings, low, high, call, ints, floats, cursor):
    for reason in range(low, high):
        if decision.pending & (1 << reason):
            if channel_free(decision, call, motion.time_ns):
                decision.pending &= ~(1 << reason)
                issue(motion, decision, settings, call, reason, -1.0, ints, floats, cursor)
                return True
            return False
    return False


@inner
def _issue_turn(motion, decision, settings, ints, floats, cursor):
    turns = turns_to_call(motion, settings)
    whole = int(turns) if turns > 0.0 else 0
    if whole <= decision.turn_called:
        return False
    left = decision.active[ABANDON] != 0  # nobody counts turns after *abandon*
    if left or turns - whole > LATE_TURN:
        decision.turn_called = whole
        return False
    if not channel_free(decision, TURN, motion.time_ns):
        return False
    decision.turn_called = whole
    issue(motion, decision, settings, TURN, WHOLE_TURN, float(whole), ints, floats, cursor)
    return True


@inner
def issue_one(motion, decision, settings, ints, floats, cursor):
    """Issue the highest call that is due and may be spoken now; at most one."""
    in_spin = motion.in_spin == 1
    if in_spin and _issue_repeating(motion, decision, settings, ints, floats, cursor):
        return
    if decision.pending != 0 and _issue_waiting(
        motion, decision, settings, 0, FIRST_STATUS, CAUTION, ints, floats, cursor
    ):
        return
    if in_spin and _issue_turn(motion, decision, settings, ints, floats, cursor):
        return
    if decision.pending != 0:
        _issue_waiting(motion, decision, settings, FIRST_STATUS, WAITING_REASONS, STATUS, ints, floats, cursor)
