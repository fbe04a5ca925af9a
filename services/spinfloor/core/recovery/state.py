"""The decision record: everything the decision step remembers from frame to frame, one plain restorable record.

SI and radians; NaN where not known. Copying its bytes and putting them back gives the same calls afterwards, bit
for bit.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from spinfloor.core.recovery.excess import NODES, ROWS

NOT_CHOSEN: Final = -1

# name, dtype, shape, meaning
DECISION_FIELDS: Final[tuple[tuple[str, str, tuple[int, ...], str], ...]] = (
    # the face: what snapshots and payloads read
    ("left_median_m", "f8", (), "altitude left above the recovery floor, median"),
    ("left_bound_m", "f8", (), "the same, cautious bound (lower)"),
    ("left_optimistic_m", "f8", (), "the same, optimistic bound (upper)"),
    ("left_seconds_median", "f8", (), "seconds until it is used up at the present sink"),
    ("left_seconds_bound", "f8", (), "the same for the cautious bound"),
    ("left_turns_median", "f8", (), "turns until it is used up at the present loss per turn"),
    ("left_turns_bound", "f8", (), "the same for the cautious bound"),
    ("loss_per_turn_m", "f8", (), "loss per turn used: what is believed and what this spin shows, combined"),
    ("loss_per_turn_sd_m", "f8", (), "its standard uncertainty"),
    ("recovery_turns_left", "f8", (), "recovery turns still to come, mean"),
    ("pull_out_left_m", "f8", (), "dive and pull-out loss still to come, mean"),
    ("card_index", "i8", (), "card being flown or next to be flown, -1 none left"),
    ("planned_turns", "f8", (), "turns planned for the present spin, NaN for a spin nobody planned or no card"),
    # the spin being followed
    ("spin_ordinal", "i8", (), "spins taken up so far"),
    ("levelled", "i8", (), "1 when level flight was seen since the last spin (or there was none yet)"),
    ("card_chosen", "i8", (), "1 when a mark chose the card for the next spin"),
    ("card_flown", "i8", (), "1 when a spin of the card's side and direction was taken up since level flight"),
    ("flown_card", "i8", (), "card_index while the spin was flown, for what is said once the next card is up"),
    ("dive_sink_mps", "f8", (), "largest sink since the spin ended"),
    ("card_turns", "f8", (), "most turns of a spin ended since level flight; the card is used up from half of its own"),
    ("inverted_planned", "i8", (), "1 when the spin is inverted as its card says"),
    ("turn_called", "i8", (), "last whole turn called or passed over"),
    # prediction made when the recovery controls went in
    ("prediction", "i8", (), "1 while a prediction waits for its level flight"),
    ("predicted_level_m", "f8", (), "predicted altitude at level flight, median"),
    ("predicted_bound_m", "f8", (), "the same, cautious bound"),
    ("predicted_low_m", "f8", (), "lower end of the 99 % prediction"),
    ("predicted_high_m", "f8", (), "upper end of the 99 % prediction"),
    ("predicted_turns", "f8", (), "predicted recovery turns, location"),
    ("predicted_turns_low", "f8", (), "lower end of the 99 % prediction"),
    ("predicted_turns_high", "f8", (), "upper end of the 99 % prediction"),
    ("used_loss_per_turn_m", "f8", (), "loss per turn the prediction used"),
    ("measured_loss_per_turn_m", "f8", (), "loss in the last whole turn before the controls, NaN when none"),
    ("frame_seen_ns", "i8", (), "newest frame at the last step taken in"),
    ("hole_from_ns", "i8", (), "last frame before the newest stretch without frames, 0 none yet"),
    ("hole_to_ns", "i8", (), "first frame after it"),
    ("holed", "i8", (), "1 when the recovery's beginning or end may lie in such a stretch"),
    ("density_ratio", "f8", (), "air density where the controls went in, over that at 10,000 ft"),
    ("kind", "i8", (3,), "orientation 0/1, direction 0 right 1 left, mode 0-4 at the prediction"),
    ("prediction_spins", "f8", (), "own earlier spins behind the prediction"),
    # predictions for the kind of spin in hand, refilled only when the kind or the beliefs change
    ("cached_kind", "i8", (3,), "kind the tables below are for"),
    ("cached_revision", "i8", (), "beliefs revision they were filled at"),
    ("card_loss_m", "f8", (3,), "loss of the next card flown from its start: median, bound, optimistic; before a spin"),
    ("card_loss_index", "i8", (), "card they are for, -2 to be worked out anew"),
    ("card_loss_sd_m", "f8", (), "altitude uncertainty they hold"),
    ("card_loss_start_m", "f8", (), "height of the start they are for"),
    ("turns_prediction", "f8", (4,), "location, scale, degrees of freedom, own spins"),
    ("loss_prediction", "f8", (4,), "the same for the loss per turn"),
    ("pull_out_prediction", "f8", (4,), "the same for the dive and pull-out loss"),
    ("turns_excess", "f8", (ROWS, NODES), "moments of the recovery turns to come against those used"),
    ("turns_step", "f8", (), "step between its nodes"),
    ("pull_out_excess", "f8", (ROWS, NODES), "the same for the dive and pull-out loss"),
    ("pull_out_step", "f8", (), "step between its nodes"),
    ("z_bound", "f8", (), "normal quantile of the plan's cautious bound"),
    ("moments", "f8", (4,), "scratch: cumulants of the loss still to come"),
    # when to decide again
    ("decided_ns", "i8", (), "time of the last full step"),
    ("watch_m", "f8", (), "height whose reach within the lead calls for a full step at every frame; -inf none"),
    # calls
    ("busy_until_ns", "i8", (), "end of the speaking time of the last call"),
    ("busy_call", "i8", (), "what is being spoken, -1 nothing yet"),
    ("active", "i8", (6,), "reason bits that hold, per call; kept until the spin ends"),
    ("silenced", "i8", (6,), "reason bits acknowledged, per call"),
    ("spoken", "i8", (6,), "reason bits spoken in this spin, per call"),
    ("sure", "i8", (6,), "reason bits that held when data last came; the others rest on carried motion"),
    ("issued_ns", "i8", (6,), "last time each call was issued"),
    ("repeats", "i8", (6,), "how often it was issued in this spin"),
    ("pending", "i8", (), "bits of cautions and status words waiting for a free channel"),
    ("pending_ns", "i8", (16,), "when each began to wait"),
    ("was_flattening", "i8", (), "1 once flattening has been called in this spin"),
    ("was_degraded", "i8", (), "1 while degraded data has been called and not been good for long enough since"),
    ("degraded_clear_ns", "i8", (), "since when the data has been good again"),
    ("power_since_ns", "i8", (), "since when power has been on in the spin, 0 not on"),
    ("power_called", "i8", (), "1 once power above idle has been called; clears when power has been off a while"),
    ("power_off_ns", "i8", (), "since when power has been off again, 0 not off"),
    ("loss_called", "i8", (), "1 between the call of lost data and its return"),
    # floors
    ("floors_m", "f8", (5,), "recovery, chute, abandon, ground, altitude offset the held reasons were judged by"),
    ("floor_side", "i8", (3,), "+1 above, -1 below, 0 not known; recovery, chute, abandon"),
)

DECISION_DTYPE: Final = np.dtype([(name, kind, shape) for name, kind, shape, _ in DECISION_FIELDS])

CARD_FIELDS: Final[tuple[tuple[str, str, str], ...]] = (
    ("orientation", "i8", "+1 upright, -1 inverted"),
    ("direction", "i8", "+1 right, -1 left"),
    ("mode", "i8", "index into events.MODES, -1 not stated"),
    ("turns", "f8", "planned turns"),
    ("turns_to_pay", "f8", "planned turns plus what the first turn costs more, in turns"),
    ("entry_altitude_m", "f8", "planned entry altitude, floor datum"),
    ("power_on", "i8", "1 when the card is flown with power on"),
)
CARDS_DTYPE: Final = np.dtype([(name, kind) for name, kind, _ in CARD_FIELDS])


def new_decision() -> npt.NDArray[Any]:
    """A fresh decision record, shape (1,): nothing known, nothing called."""
    state = np.zeros(1, DECISION_DTYPE)
    for name, kind, _, _ in DECISION_FIELDS:
        if kind == "f8":
            state[name] = np.nan
    for name, value in (
        ("busy_call", -1),
        ("levelled", 1),
        ("cached_revision", -1),
        ("card_loss_index", -2),
    ):
        state[name] = value
    return state
