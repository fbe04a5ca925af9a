"""One plan and a hand-made motion record, for tests that set single values."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from tests.core.recovery.bench import Bench
from tests.core.recovery.generator import level_records

from spinfloor.core.plan.flatten import cards_record, settings_record
from spinfloor.core.plan.model import Aircraft, Card, Floors, Plan, Prior, Priors, Timing
from spinfloor.core.recovery.beliefs import Beliefs
from spinfloor.core.recovery.state import new_decision


@pytest.fixture
def plan() -> Plan:
    return Plan(
        title="one aircraft, three cards",
        aircraft=Aircraft(
            name="Falter One",
            chute_fitted=True,
            priors=Priors(
                recovery_turns=Prior(mean=1.0, standard_deviation=0.3),
                loss_per_turn_ft=Prior(mean=500.0, standard_deviation=100.0),
                pull_out_loss_ft=Prior(mean=1500.0, standard_deviation=300.0),
            ),
        ),
        floors=Floors(recovery_ft=5_000.0, chute_ft=4_000.0, abandon_ft=3_000.0, ground_elevation_ft=0.0),
        timing=Timing(reaction_s=1.0, speaking_s=1.0, telemetry_age_s=0.5, repeat_call_s=2.0),
        cards=[
            Card(id="one", direction="right", turns=1.0, entry_altitude_ft=12_000.0),
            Card(id="six", direction="right", turns=6.0, entry_altitude_ft=14_000.0),
            Card(id="power", direction="left", turns=3.0, entry_altitude_ft=14_000.0, power="on"),
        ],
    )


@pytest.fixture
def bench(plan: Plan) -> Bench:
    """A steady upright right spin at 20,000 ft: 150 ft/s down, 3 s a turn, three turns done, nothing wrong."""
    motion: npt.NDArray[Any] = level_records(1, 10.0, 20_000 * 0.3048)
    values = {
        "in_spin": 1, "spin_ordinal": 1, "orientation": 1, "direction": 1, "mode": 1, "turns": 0.4,
        "turns_about_vertical": 0.3, "rotation_radps": 2 * np.pi / 3, "rotation_at_recovery_radps": 2 * np.pi / 3,
        "turn_period_s": 3.0, "sink_mps": 150 * 0.3048, "sink_sd_mps": 0.0, "altitude_sd_m": 0.0, "power_on": 0,
        "loss_per_turn_m": 450 * 0.3048, "loss_per_turn_sd_m": 3.0,
    }  # fmt: skip
    for name, value in values.items():
        motion[name] = value
    return Bench(
        motion=motion,
        decision=new_decision(),
        beliefs=Beliefs.from_plan(plan).record(),
        cards=cards_record(plan),
        settings=settings_record(plan),
        plan=plan,
    )
