"""The plan's schema: aircraft, floors, timing, the rule to judge by, the cards in build-up order.

Edge units (feet, knots, degrees) with the unit in each name. Unknown keys are refused. Fields with a default carry
its reason in the description; floors have none, because nobody but the test team can set them.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, model_validator

from spinfloor.core.plan.channel_map import ChannelMap

Feet = Annotated[float, Field(ge=-2_000.0, le=100_000.0, allow_inf_nan=False)]
Seconds = Annotated[float, Field(ge=0.0, le=60.0, allow_inf_nan=False)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Prior(_Part):
    """What is believed of one quantity before the first spin: mean, spread, and how many spins that is worth."""

    mean: Annotated[float, Field(gt=0.0, le=50_000.0, allow_inf_nan=False)]
    standard_deviation: Annotated[float, Field(gt=0.0, le=50_000.0, allow_inf_nan=False)]
    worth_spins: Annotated[float, Field(gt=0.0, le=100.0, allow_inf_nan=False)] = Field(
        default=0.5,
        description="how many flown spins the mean is worth; the default lets the first spin outweigh a guess",
    )


class Priors(_Part):
    """Priors per aircraft; defaults are wide on purpose."""

    recovery_turns: Prior = Prior(mean=1.0, standard_deviation=0.5)
    loss_per_turn_ft: Prior = Prior(mean=500.0, standard_deviation=150.0)
    seconds_per_turn: Annotated[float, Field(gt=0.3, le=60.0, allow_inf_nan=False)] = Field(
        default=3.0, description="expected period, for the budget's times; 3 s is from memory, FAA-H-8083-3"
    )
    first_turn_extra_turns: Annotated[float, Field(ge=0.0, le=5.0, allow_inf_nan=False)] = Field(
        default=1.0,
        description="what the first turn costs more than a later one, in turns; the FAA Airplane Flying Handbook has "
        "the first turn cost about twice a later one",
    )
    pull_out_loss_ft: Prior | None = Field(
        default=None,
        description="at 10,000 ft, scaled with air density elsewhere; None: computed from the pull-out load "
        "factor and speed, with a 30 % spread",
    )


class SensorRanges(_Part):
    """Full scale of each rate gyro; a reading at the rail is a clipped one."""

    roll_rate_dps: Annotated[float, Field(gt=0.0, le=5000.0)] = 400.0
    pitch_rate_dps: Annotated[float, Field(gt=0.0, le=5000.0)] = 400.0
    yaw_rate_dps: Annotated[float, Field(gt=0.0, le=5000.0)] = 400.0


class Aircraft(_Part):
    """The aircraft under test."""

    name: Annotated[str, Field(min_length=1, max_length=80)]
    stall_alpha_upright_deg: Annotated[float, Field(gt=5.0, lt=45.0)] = 16.0
    stall_alpha_inverted_deg: Annotated[float, Field(gt=-45.0, lt=-5.0)] = -13.0
    pull_out_load_factor_g: Annotated[float, Field(gt=1.0, le=12.0)] = 2.5
    pull_out_speed_kt: Annotated[float, Field(gt=20.0, le=600.0)] = Field(
        default=140.0,
        description="true airspeed at which the load factor is reached in the dive, at 10,000 ft; with the load factor n "
        "it is about the stalling speed times the square root of n",
    )
    pull_out_dive_angle_deg: Annotated[float, Field(gt=0.0, le=90.0)] = 90.0
    altimeter_lag_s: Annotated[float, Field(ge=0.0, le=15.0)] = 0.0
    idle_throttle_pct: Annotated[float, Field(ge=0.0, le=100.0)] = 20.0
    sensor_ranges: SensorRanges = SensorRanges()
    chute_fitted: bool = False
    priors: Priors = Priors()


class Reference(StrEnum):
    """What the floors are measured from."""

    PRESSURE = "pressure"
    SEA_LEVEL = "sea level"
    GROUND = "ground"


class Floors(_Part):
    """The heights the calls protect; recovery above chute above abandon."""

    recovery_ft: Feet
    abandon_ft: Feet
    chute_ft: Feet | None = None
    reference: Annotated[Reference, Field(strict=False)] = Field(
        default=Reference.PRESSURE,
        description="what floors and entry altitudes are measured from: pressure altitude, sea level (altimeter "
        "setting applied) or ground (altimeter setting and ground elevation applied)",
    )
    ground_elevation_ft: Feet = Field(default=0.0, description="above sea level")
    altimeter_setting_hpa: Annotated[float, Field(ge=850.0, le=1100.0)] = 1013.25


class Timing(_Part):
    """Leads and limits; the three one-second steps are common practice, no source."""

    reaction_s: Seconds = 1.0
    speaking_s: Seconds = 1.0
    telemetry_age_s: Seconds = 0.5
    data_age_limit_s: Annotated[float, Field(gt=0.0, le=10.0)] = 0.5
    controls_not_slowing_turns: Annotated[float, Field(gt=0.0, le=10.0)] = 2.0
    repeat_call_s: Annotated[float, Field(ge=1.0, le=30.0)] = 2.0


class Card(_Part):
    """One planned spin."""

    id: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9._-]+$")]
    title: Annotated[str, Field(max_length=120)] = ""
    orientation: Literal["upright", "inverted"] = "upright"
    direction: Literal["left", "right"]
    turns: Annotated[float, Field(gt=0.0, le=100.0)]
    entry_altitude_ft: Feet
    mode: Literal["steep", "moderately steep", "moderately flat", "flat"] | None = None
    centre_of_gravity_pct: Annotated[float, Field(ge=0.0, le=100.0)] | None = None
    mass_kg: Annotated[float, Field(gt=0.0)] | None = None
    power: Literal["idle", "on"] = "idle"


Words = Annotated[str, Field(min_length=1, max_length=60, pattern=r"\S")]


class CallWords(_Part):
    """The words spoken for each call; turns are spoken as numbers."""

    recover: Words = "recover"
    chute: Words = "chute"
    abandon: Words = "abandon"
    flattening: Words = "flattening"
    power_above_idle: Words = "power"
    reversal: Words = "reversal"
    spin_started_again: Words = "spinning again"
    turned_inverted: Words = "inverted"
    data_lost: Words = "data lost"
    data_degraded: Words = "data degraded"
    recovered: Words = "recovered"
    data_back: Words = "data back"


class Plan(_Part):
    """A sortie's plan, schema version 1."""

    version: Literal[1] = 1
    title: Annotated[str, Field(min_length=1, max_length=120)]
    aircraft: Aircraft
    floors: Floors
    timing: Timing = Timing()
    rule: str = Field(default="14-cfr-23.221-normal", description="key of the rule each spin is judged by")
    turns_called: Literal["about_flight_path", "about_vertical"] = "about_flight_path"
    cautious_bound: Annotated[float, Field(ge=0.5, le=0.999)] = 0.95
    call_words: CallWords = CallWords()
    channel_map: ChannelMap | None = Field(default=None, description="see the channel-map reference")
    cards: Annotated[list[Card], Field(min_length=1, max_length=2000)]

    @model_validator(mode="after")
    def _fits_together(self, info: ValidationInfo) -> Plan:
        """The checks across fields; a loader that lists faults by path runs them itself and says so in the context."""
        if not (info.context or {}).get("faults_listed_elsewhere"):
            from spinfloor.core.plan.checks import faults_of  # the checks need the classes above

            found = faults_of(self)
            if found:
                raise ValueError("; ".join(f"{fault.path}: {fault.expected}, got {fault.got}" for fault in found))
        return self
