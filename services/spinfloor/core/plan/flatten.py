"""The plan as the compiled kernel reads it: one settings record, one record per card; the prior of the pull-out. SI."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

from spinfloor.core.events import MODES, Mode
from spinfloor.core.physics.atmosphere import altimeter_setting_offset_m
from spinfloor.core.plan.model import Floors, Plan, Prior, Reference
from spinfloor.core.recovery.pull_out import pull_out_loss_m
from spinfloor.core.recovery.state import CARDS_DTYPE
from spinfloor.core.settings import SETTINGS_DTYPE
from spinfloor.core.units import METRES_PER_FOOT, METRES_PER_SECOND_PER_KNOT, RADIANS_PER_DEGREE

PULL_OUT_SPREAD = 0.30  # of the computed loss: how far the truth flights scatter about it, docs/method/prediction.md


def settings_record(plan: Plan) -> npt.NDArray[Any]:
    """SETTINGS_DTYPE, shape (1,), from a checked plan."""
    out = np.zeros(1, SETTINGS_DTYPE)
    aircraft, timing, ranges = plan.aircraft, plan.timing, plan.aircraft.sensor_ranges
    priors = aircraft.priors
    values: dict[str, float] = {
        "stall_alpha_upright_rad": aircraft.stall_alpha_upright_deg * RADIANS_PER_DEGREE,
        "stall_alpha_inverted_rad": aircraft.stall_alpha_inverted_deg * RADIANS_PER_DEGREE,
        "pull_out_load_factor": aircraft.pull_out_load_factor_g,
        "pull_out_speed_mps": aircraft.pull_out_speed_kt * METRES_PER_SECOND_PER_KNOT,
        "pull_out_dive_angle_rad": aircraft.pull_out_dive_angle_deg * RADIANS_PER_DEGREE,
        "altimeter_lag_s": aircraft.altimeter_lag_s,
        "idle_throttle": aircraft.idle_throttle_pct / 100.0,
        "roll_rate_range_radps": ranges.roll_rate_dps * RADIANS_PER_DEGREE,
        "pitch_rate_range_radps": ranges.pitch_rate_dps * RADIANS_PER_DEGREE,
        "yaw_rate_range_radps": ranges.yaw_rate_dps * RADIANS_PER_DEGREE,
        "chute_fitted": float(aircraft.chute_fitted),
        "reaction_s": timing.reaction_s,
        "speaking_s": timing.speaking_s,
        "telemetry_age_s": timing.telemetry_age_s,
        "data_age_limit_s": timing.data_age_limit_s,
        "controls_not_slowing_turns": timing.controls_not_slowing_turns,
        "repeat_call_s": timing.repeat_call_s,
        "cautious_bound": plan.cautious_bound,
        "expected_sink_mps": priors.loss_per_turn_ft.mean * METRES_PER_FOOT / priors.seconds_per_turn,
        "turns_called_vertical": float(plan.turns_called == "about_vertical"),
    }
    for name, value in values.items():
        out[name] = value
    write_floors(out, plan.floors)
    return out


def datum_shift_m(floors: Floors) -> float:
    """What to add to a height of the plan to have it in the kernel's datum: the ground for ground-referenced floors."""
    return floors.ground_elevation_ft * METRES_PER_FOOT if floors.reference is Reference.GROUND else 0.0


def write_floors(settings: npt.NDArray[Any], floors: Floors) -> None:
    """Write the floors into a settings record, in the datum of the corrected altitude.

    Reference pressure: the datum is pressure altitude. Sea level and ground: pressure altitude shifted by the altimeter
    setting, so heights above sea level; ground-referenced floors are raised by the ground's elevation.
    """
    offset = 0.0
    if floors.reference is not Reference.PRESSURE:
        offset = altimeter_setting_offset_m(floors.altimeter_setting_hpa)
    shift = datum_shift_m(floors)
    settings["altitude_offset_m"] = offset
    settings["recovery_floor_m"] = floors.recovery_ft * METRES_PER_FOOT + shift
    settings["abandon_floor_m"] = floors.abandon_ft * METRES_PER_FOOT + shift
    settings["chute_floor_m"] = math.nan if floors.chute_ft is None else floors.chute_ft * METRES_PER_FOOT + shift
    ground_m = floors.ground_elevation_ft * METRES_PER_FOOT
    if floors.reference is Reference.PRESSURE:  # the ground, as an altimeter at 1013.25 hPa would show it
        ground_m -= altimeter_setting_offset_m(floors.altimeter_setting_hpa)
    settings["ground_m"] = ground_m


def cards_record(plan: Plan) -> npt.NDArray[Any]:
    """CARDS_DTYPE, shape (number of cards,), in build-up order."""
    out = np.zeros(len(plan.cards), CARDS_DTYPE)
    extra = plan.aircraft.priors.first_turn_extra_turns
    shift = datum_shift_m(plan.floors)
    for row, card in zip(out, plan.cards, strict=True):
        row["orientation"] = 1 if card.orientation == "upright" else -1
        row["direction"] = 1 if card.direction == "right" else -1
        row["mode"] = -1 if card.mode is None else MODES.index(Mode(card.mode))
        row["turns"] = card.turns
        row["turns_to_pay"] = card.turns + extra * min(card.turns, 1.0)
        row["entry_altitude_m"] = card.entry_altitude_ft * METRES_PER_FOOT + shift
        row["power_on"] = int(card.power == "on")
    return out


def pull_out_prior_ft(plan: Plan) -> Prior:
    """The plan's prior of the dive and pull-out loss, or the computed one with its spread."""
    aircraft = plan.aircraft
    given = aircraft.priors.pull_out_loss_ft
    if given is not None:
        return given
    loss_m = pull_out_loss_m(
        aircraft.pull_out_speed_kt * METRES_PER_SECOND_PER_KNOT,
        aircraft.pull_out_load_factor_g,
        aircraft.pull_out_dive_angle_deg * RADIANS_PER_DEGREE,
    )
    loss_ft = loss_m / METRES_PER_FOOT
    return Prior(mean=loss_ft, standard_deviation=PULL_OUT_SPREAD * loss_ft)
