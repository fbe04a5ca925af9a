"""When each call is due: the conditions of the table, with leads. Compiled; they only set bits in the decision record.

A condition that held once in a spin stays held until the spin ends, so a value sitting on a threshold cannot make a
call chatter; an acknowledgement silences the reason acknowledged and no other. Judged anew, acknowledged or not, is what
hangs on floors that are moved, and what held on carried motion only, once data are back.
"""

from typing import Final

import numpy as np

from spinfloor.core.compiled import inner
from spinfloor.core.recovery.reasons import (
    ABANDON,
    ABANDON_FLOOR,
    ABANDON_GROUND,
    CHUTE,
    CHUTE_FLOOR,
    CHUTE_NOT_SLOWING,
    DATA_BACK,
    DATA_DEGRADED,
    DATA_LOST,
    FIRST_REASON,
    FIRST_STATUS,
    FLATTENING,
    IN_SPIN_ONLY,
    POWER_ON,
    RECOVER,
    RECOVER_ALTITUDE,
    RECOVER_TURNS,
    RECOVERED,
    REVERSAL,
    STARTED_AGAIN,
    TURNED_INVERTED,
    WAITING_REASONS,
)

# Our own settings, each with its reason.
SLOWED_FRACTION: Final = 0.75  # rotation below this part of its value before the controls counts as slowed
SLOWING_FRACTION: Final = 0.5  # and below this part a chute called because it had not slowed is called no more
POWER_SETTLE_NS: Final = 1_000_000_000  # power carried a second into the spin: closing the throttle at entry is no case
POWER_CLEAR_NS: Final = (
    3_000_000_000  # off for this long before power is called again: a throttle on its detent flickers
)
DEGRADED_CLEAR_NS: Final = 3_000_000_000  # good for this long before degraded data is called again
CAUTION_LIFE_NS: Final = 6_000_000_000  # a caution that found no free channel for so long is dropped; the event stands
STATUS_LIFE_NS: Final = 4_000_000_000
WATCH_M: Final = 60.0  # this far above a floor's reach every frame is looked at: no call can fall between two steps
MARKED: Final = 2  # recovery_source of controls told by a mark alone
TWO_PI: Final = 2.0 * np.pi
NS_PER_S: Final = 1e9


@inner
def hold(decision, call, reason):
    """Hold a reason of a repeating call."""
    decision.active[call] |= 1 << (reason - FIRST_REASON[call])


@inner
def _release(decision, call, bits):
    """Forget reasons of a repeating call, and that they were spoken or acknowledged: they are judged anew."""
    decision.active[call] &= ~bits
    decision.silenced[call] &= ~bits
    decision.spoken[call] &= ~bits


@inner
def _moved(decision, which, value):
    held = decision.floors_m[which]
    decision.floors_m[which] = value
    return held != value and not (np.isnan(held) and np.isnan(value))


@inner
def follow_floors(decision, settings):
    """Floors or altimeter setting moved in flight: the calls they stand for are judged by the new ones."""
    moved = _moved(decision, 0, settings.recovery_floor_m)
    moved = _moved(decision, 1, settings.chute_floor_m) or moved
    moved = _moved(decision, 2, settings.abandon_floor_m) or moved
    moved = _moved(decision, 3, settings.ground_m) or moved
    moved = _moved(decision, 4, settings.altitude_offset_m) or moved
    if moved:
        _release(decision, ABANDON, -1)
        _release(decision, CHUTE, 1 << (CHUTE_FLOOR - FIRST_REASON[CHUTE]))
        _release(decision, RECOVER, 1 << (RECOVER_ALTITUDE - FIRST_REASON[RECOVER]))


@inner
def drop_guesses(motion, decision):
    """Data are there: a height that was short on carried motion only is judged anew. Turns are not: those of a loss are not counted."""
    if motion.estimated == 0:
        _release(decision, ABANDON, decision.active[ABANDON] & ~decision.sure[ABANDON])
        for call, reason in ((CHUTE, CHUTE_FLOOR), (RECOVER, RECOVER_ALTITUDE)):
            bit = 1 << (reason - FIRST_REASON[call])
            _release(decision, call, decision.active[call] & ~decision.sure[call] & bit)


@inner
def keep_sure(motion, decision):
    """Remember what holds on data."""
    if motion.estimated == 0:
        for call in range(RECOVER, ABANDON + 1):
            decision.sure[call] = decision.active[call]


@inner
def clock_set_back(decision, settings, now_ns):
    """Nothing remembered lies ahead of a clock that was set back: a pause begins anew instead of lasting until then."""
    decision.busy_until_ns = min(decision.busy_until_ns, now_ns + int(settings.speaking_s * NS_PER_S))
    for call in range(ABANDON + 1):
        decision.issued_ns[call] = min(decision.issued_ns[call], now_ns)
    for reason in range(WAITING_REASONS):
        decision.pending_ns[reason] = min(decision.pending_ns[reason], now_ns)
    decision.power_since_ns = min(decision.power_since_ns, now_ns)
    decision.power_off_ns = min(decision.power_off_ns, now_ns)
    decision.degraded_clear_ns = min(decision.degraded_clear_ns, now_ns)


@inner
def wait_for_channel(decision, reason, now_ns):
    """Queue a caution or status word."""
    if decision.pending & (1 << reason) == 0:
        decision.pending |= 1 << reason
        decision.pending_ns[reason] = now_ns


@inner
def sink_ahead(motion):
    """Sink to reckon with over the lead (m/s): in a young spin more than now."""
    sink = max(motion.sink_mps, 0.0)
    if motion.sink_ahead_mps > sink:  # false for NaN
        sink = motion.sink_ahead_mps
    return sink


@inner
def lead_s(settings):
    """Telemetry age + speaking time + crew reaction."""
    return settings.telemetry_age_s + settings.speaking_s + settings.reaction_s


@inner
def height_above_in(motion, decision, floor_m, ahead_s):
    """Height above a floor `ahead_s` from now at the sink to come, less the cautious allowance for both (m)."""
    sink = sink_ahead(motion)
    variance = 0.0
    if motion.altitude_sd_m > 0.0:
        variance += motion.altitude_sd_m * motion.altitude_sd_m
    if motion.sink_sd_mps > 0.0:
        variance += (ahead_s * motion.sink_sd_mps) ** 2
    return motion.altitude_m - floor_m - sink * ahead_s - decision.z_bound * np.sqrt(variance)


@inner
def height_to_watch(motion, decision, settings):
    """The highest floor whose call is not held yet, with the cautious allowance and WATCH_M on top; -inf when none."""
    highest = -np.inf
    if decision.active[ABANDON] & (1 << (ABANDON_FLOOR - FIRST_REASON[ABANDON])) == 0:
        highest = settings.abandon_floor_m
    fitted = settings.chute_fitted == 1.0 and not np.isnan(settings.chute_floor_m)
    if fitted and decision.active[CHUTE] & (1 << (CHUTE_FLOOR - FIRST_REASON[CHUTE])) == 0:
        highest = max(highest, settings.chute_floor_m)
    sure = height_above_in(motion, decision, 0.0, lead_s(settings))
    hoped = motion.altitude_m - sink_ahead(motion) * lead_s(settings)
    return highest + (hoped - sure) + WATCH_M


@inner
def turns_per_second(motion):
    """Rate of turns for looking ahead: the last whole turn's, or the present rotation where that is faster."""
    rate = 0.0
    if motion.turn_period_s > 0.0:
        rate = 1.0 / motion.turn_period_s
    if motion.rotation_radps > 0.0:
        rate = max(rate, motion.rotation_radps / TWO_PI)
    return rate


@inner
def turns_to_call(motion, settings):
    """The count the plan calls."""
    return motion.turns_about_vertical if settings.turns_called_vertical == 1.0 else motion.turns


@inner
def slowed(motion):
    """The rotation has fallen since the recovery controls went in."""
    before = motion.rotation_at_recovery_radps
    return not (before > 0.0 and motion.rotation_radps > SLOWED_FRACTION * before)


@inner
def not_slowing(motion, settings):
    """The controls have been in for the plan's number of turns and the rotation is what it was."""
    used = motion.turns - motion.recovery_start_turns
    return motion.recovery_started == 1 and used >= settings.controls_not_slowing_turns and not slowed(motion)


@inner
def obeyed(motion, settings):
    """*recover* is obeyed: the controls are in. By a mark alone only while the rotation does not say otherwise."""
    slip = motion.recovery_source == MARKED and not_slowing(motion, settings)
    return motion.recovery_started == 1 and not slip


@inner
def check_abandon(motion, decision, settings):
    """Still spinning and the abandon floor near, or the ground out of reach even at the optimistic bound."""
    lead = lead_s(settings)
    if height_above_in(motion, decision, settings.abandon_floor_m, lead) <= 0.0:
        hold(decision, ABANDON, ABANDON_FLOOR)
    level = decision.left_optimistic_m + settings.recovery_floor_m
    if motion.recovery_started == 0:
        level -= sink_ahead(motion) * (lead - settings.reaction_s)
    if level <= settings.ground_m:
        hold(decision, ABANDON, ABANDON_GROUND)


@inner
def check_chute(motion, decision, settings):
    """An anti-spin chute is fitted, and its floor is near or the controls have not slowed the rotation."""
    if settings.chute_fitted != 1.0:
        return
    floor = settings.chute_floor_m
    if not np.isnan(floor) and height_above_in(motion, decision, floor, lead_s(settings)) <= 0.0:
        hold(decision, CHUTE, CHUTE_FLOOR)
    if not_slowing(motion, settings):
        hold(decision, CHUTE, CHUTE_NOT_SLOWING)
    slowing = (
        motion.recovery_started == 0 or motion.rotation_radps < SLOWING_FRACTION * motion.rotation_at_recovery_radps
    )
    if slowing:
        decision.active[CHUTE] &= ~(1 << (CHUTE_NOT_SLOWING - FIRST_REASON[CHUTE]))


@inner
def check_recover(motion, decision, settings):
    """The planned turns, or the cautious altitude left, run out within the lead; never once the controls are in."""
    if obeyed(motion, settings):
        return
    ahead = turns_to_call(motion, settings) + lead_s(settings) * turns_per_second(motion)
    if ahead >= decision.planned_turns:  # false for NaN: a spin nobody planned
        hold(decision, RECOVER, RECOVER_TURNS)
    # The altitude left already pays for the reaction; the rest of the lead is paid here, once.
    rest = settings.telemetry_age_s + settings.speaking_s
    sink_sd = motion.sink_sd_mps if motion.sink_sd_mps > 0.0 else 0.0
    if decision.left_bound_m <= rest * (sink_ahead(motion) + decision.z_bound * sink_sd):
        hold(decision, RECOVER, RECOVER_ALTITUDE)


@inner
def _check_power(motion, decision, power_planned, now):
    if motion.power_on != 1 or power_planned:
        decision.power_since_ns = 0
        if motion.power_on == 0 and decision.power_off_ns == 0:
            decision.power_off_ns = now
        if motion.power_on == 0 and now - decision.power_off_ns >= POWER_CLEAR_NS:
            decision.power_called = 0
        return
    decision.power_off_ns = 0
    if decision.power_since_ns == 0:
        decision.power_since_ns = now
    if decision.power_called == 0 and now - decision.power_since_ns >= POWER_SETTLE_NS:
        decision.power_called = 1
        wait_for_channel(decision, POWER_ON, now)


@inner
def _check_degraded(motion, decision, now):
    if motion.degraded == 1:
        decision.degraded_clear_ns = 0
        if decision.was_degraded == 0:
            decision.was_degraded = 1
            wait_for_channel(decision, DATA_DEGRADED, now)
        return
    if decision.degraded_clear_ns == 0:
        decision.degraded_clear_ns = now
    if now - decision.degraded_clear_ns >= DEGRADED_CLEAR_NS:
        decision.was_degraded = 0


@inner
def check_cautions(motion, decision, power_planned):
    """Cautions that belong to a spin going on."""
    now = motion.time_ns
    if motion.flattening == 1 and decision.was_flattening == 0:
        decision.was_flattening = 1
        wait_for_channel(decision, FLATTENING, now)
    _check_power(motion, decision, power_planned, now)
    _check_degraded(motion, decision, now)
    if motion.data_lost_now == 1:
        decision.loss_called = 1
        wait_for_channel(decision, DATA_LOST, now)


@inner
def check_changes(motion, decision):
    """One-frame news of any phase: a spin turned into another, data back, recovered."""
    now = motion.time_ns
    if motion.turned_inverted_now == 1 and decision.inverted_planned == 0:
        wait_for_channel(decision, TURNED_INVERTED, now)
    elif motion.reversed_now == 1:
        wait_for_channel(decision, REVERSAL, now)
    elif motion.restarted_now == 1:
        wait_for_channel(decision, STARTED_AGAIN, now)
    if motion.data_restored_now == 1 and decision.loss_called == 1:
        decision.loss_called = 0
        unsaid = decision.pending & (1 << DATA_LOST) != 0
        decision.pending &= ~(1 << DATA_LOST)
        if not unsaid:
            wait_for_channel(decision, DATA_BACK, now)
    if motion.spin_ended_now == 1:
        decision.pending &= ~IN_SPIN_ONLY
    if motion.level_now == 1:
        wait_for_channel(decision, RECOVERED, now)


@inner
def drop_stale(decision, now_ns):
    """Forget words that waited too long; lost data waits as long as it is lost."""
    if decision.pending == 0:
        return
    for reason in range(WAITING_REASONS):
        life = STATUS_LIFE_NS if reason >= FIRST_STATUS else CAUTION_LIFE_NS
        lost = reason == DATA_LOST and decision.loss_called == 1
        if decision.pending & (1 << reason) and not lost and now_ns - decision.pending_ns[reason] > life:
            decision.pending &= ~(1 << reason)
