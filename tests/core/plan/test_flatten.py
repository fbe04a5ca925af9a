"""The plan as the kernel's records: SI, the floors' datum, the cards, the priors."""

import math

import numpy as np
import pytest
from tests.core.plan.plans import good

from spinfloor.core.plan.flatten import cards_record, pull_out_prior_ft, settings_record
from spinfloor.core.plan.load import plan_from
from spinfloor.core.recovery.pull_out import pull_out_loss_m
from spinfloor.core.settings import SETTINGS_FIELDS

FT = 0.3048


def test_every_setting_is_filled() -> None:
    record = settings_record(plan_from(good()))
    missing = [name for name, _ in SETTINGS_FIELDS if math.isnan(record[name][0])]
    assert missing == []
    no_chute = good(**{"aircraft.chute_fitted": False, "floors.chute_ft": None})
    assert math.isnan(settings_record(plan_from(no_chute))["chute_floor_m"][0])


def test_units() -> None:
    changes = {"aircraft.pull_out_speed_kt": 100.0, "aircraft.stall_alpha_inverted_deg": -18.0}
    record = settings_record(plan_from(good(**changes, **{"aircraft.idle_throttle_pct": 25.0})))
    assert record["pull_out_speed_mps"][0] == pytest.approx(51.4444, abs=1e-4)
    assert record["stall_alpha_inverted_rad"][0] == pytest.approx(-math.pi / 10)
    assert record["idle_throttle"][0] == 0.25
    assert record["expected_sink_mps"][0] == pytest.approx(500.0 * FT / 3.0)


@pytest.mark.parametrize(
    ("reference", "recovery_ft", "ground_ft", "offset_ft"),
    [
        # pressure reference: floors as they are; the ground as an altimeter at 1013.25 hPa shows it
        ("pressure", 6_000.0, 1_000.0, 0.0),
        ("sea level", 6_000.0, 1_000.0, 0.0),
        ("ground", 7_000.0, 1_000.0, 0.0),
    ],
)
def test_datum_at_the_standard_setting(reference: str, recovery_ft: float, ground_ft: float, offset_ft: float) -> None:
    plan = plan_from(good(**{"floors.reference": reference, "floors.ground_elevation_ft": 1_000.0}))
    record = settings_record(plan)
    assert record["recovery_floor_m"][0] / FT == pytest.approx(recovery_ft)
    assert record["ground_m"][0] / FT == pytest.approx(ground_ft)
    assert record["altitude_offset_m"][0] / FT == pytest.approx(offset_ft, abs=1e-6)
    entry = 12_000.0 + (1_000.0 if reference == "ground" else 0.0)
    assert cards_record(plan)["entry_altitude_m"][0] / FT == pytest.approx(entry)


@pytest.mark.parametrize("hpa", [980.0, 1030.0])
def test_altimeter_setting(hpa: float) -> None:
    """About 27 ft a hectopascal near sea level (common practice): low pressure reads high, so heights come down."""
    expected_ft = (hpa - 1013.25) * 27.3
    sea = settings_record(plan_from(good(**{"floors.reference": "sea level", "floors.altimeter_setting_hpa": hpa})))
    assert sea["altitude_offset_m"][0] / FT == pytest.approx(expected_ft, rel=0.03)
    pressure = settings_record(plan_from(good(**{"floors.altimeter_setting_hpa": hpa})))
    assert pressure["altitude_offset_m"][0] == 0.0
    assert pressure["ground_m"][0] / FT == pytest.approx(-expected_ft, rel=0.03)


def test_cards() -> None:
    changes = {"cards.0.orientation": "inverted", "cards.0.mode": "flat", "cards.0.turns": 0.5, "cards.1.power": "on"}
    cards = cards_record(plan_from(good(**changes)))
    assert cards["orientation"].tolist() == [-1, 1]
    assert cards["mode"].tolist() == [3, -1]
    assert cards["power_on"].tolist() == [0, 1]
    np.testing.assert_allclose(cards["turns_to_pay"], [1.0, 4.0])  # half a turn pays half of the dearer first one


def test_priors_with_and_without_a_pull_out() -> None:
    plan = plan_from(good())
    computed = pull_out_prior_ft(plan)
    assert computed.mean * FT == pytest.approx(pull_out_loss_m(140 * 1852 / 3600, 2.5, math.pi / 2))
    assert computed.standard_deviation == pytest.approx(0.30 * computed.mean)
    given = good(**{"aircraft.priors": {"pull_out_loss_ft": {"mean": 900.0, "standard_deviation": 90.0}}})
    assert pull_out_prior_ft(plan_from(given)).mean == 900.0
