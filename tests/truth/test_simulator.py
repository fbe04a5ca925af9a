"""The simulator and the prescribed motions against published relations and facts of the trade.

Steady spin: theta = alpha - 90 deg, p = Omega cos alpha, r = Omega sin alpha, load 1/sin alpha (vertical axis, wings
level; derived in docs/method/truth.md, topic list of USAF Test Pilot School, Flying Qualities Phase Vol. II, ch. 10).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.authorities.steady_spin_rows import RADIUS_AND_LOAD
from tests.core.detector.steady import steady_spin
from tests.truth import airframe, kinematic, labels, shared
from tests.truth import manoeuvres_spin as spin
from tests.truth.airframe import FAMILY, Airframe
from tests.truth.atmosphere import calibrated_airspeed, density
from tests.truth.flight import Flight, simulate
from tests.truth.pilot import Script
from tests.truth.situations import build, credible


def _fly(frame: Airframe, script: Script, *, height_m: float = 5500.0, speed: float = 46.0) -> Flight:
    return simulate("test", "test", frame, script, seed=1, height_m=height_m, speed_mps=speed)


@pytest.mark.parametrize(("feet", "kgpm3"), [(0, 1.22500), (10_000, 0.90464), (20_000, 0.65269), (40_000, 0.30156)])
def test_density_is_the_standard_atmosphere_s(feet: float, kgpm3: float) -> None:
    """ICAO Doc 7488 / US Standard Atmosphere 1976, printed to five digits."""
    assert density(feet * 0.3048) == pytest.approx(kgpm3, abs=6e-6)


def test_calibrated_airspeed_of_a_true_one() -> None:
    """100 kt calibrated at 10,000 ft is 116.218 kt true, 250 at 30,000 is 393.731: subsonic pitot equation, computed."""
    true = np.array([116.218, 393.731]) * 1852 / 3600
    got = calibrated_airspeed(true, np.array([10_000.0, 30_000.0]) * 0.3048) * 3600 / 1852
    np.testing.assert_allclose(got, [100.0, 250.0], atol=2e-3)


@pytest.mark.parametrize(
    ("alpha", "period", "p", "r"),
    [(45.0, 3.0, 84.8528, 84.8528), (60.0, 2.0, 90.0, 155.8846), (30.0, 3.0, 103.923, 60.0)],
)
def test_prescribed_steady_spin_gives_the_published_rates(alpha: float, period: float, p: float, r: float) -> None:
    """Rows of the wings-level prototype spin, computed from p = Omega cos alpha, r = Omega sin alpha."""
    t = np.arange(0.0, 4.0, kinematic.STEP_S)
    o = np.ones_like(t)
    motion = kinematic.Motion(
        t, 0 * o, -np.pi / 2 * o, 2 * np.pi / period * t, np.radians(alpha) * o, 0 * o, 50 * o, {}, {}
    )
    rates, attitude = kinematic.body_rates(motion)
    np.testing.assert_allclose(np.degrees(rates[5]), [p, 0.0, r], atol=1e-4)
    pitch = np.degrees(np.arcsin(-attitude[:, 2, 0]))
    np.testing.assert_allclose(pitch, alpha - 90.0, atol=1e-6)


@pytest.mark.parametrize(
    ("alpha", "period", "radius_ft", "load"),
    [row for row in RADIUS_AND_LOAD if row[0] < 78],  # flatter, the prescribed lift has hardly a direction across
)
def test_prescribed_steady_spin_gives_the_published_radius_and_load(
    alpha: float, period: float, radius_ft: float, load: float
) -> None:
    """From the load channels alone: their size, and their horizontal part over the rotation squared."""
    columns = steady_spin(alpha, period, turns=3.0).columns
    body = np.array([columns[f"{axis}_load_g"][-100] for axis in ("longitudinal", "lateral", "normal")])
    body[2] *= -1.0  # normal load is positive up, the body axis down
    assert np.linalg.norm(body) == pytest.approx(load, abs=1e-3)
    roll, pitch = (np.radians(columns[name][-100]) for name in ("roll_deg", "pitch_deg"))
    down = np.array([-np.sin(pitch), np.sin(roll) * np.cos(pitch), np.cos(roll) * np.cos(pitch)])
    inward = np.linalg.norm(body - (body @ down) * down) * 9.80665
    assert inward / (2 * np.pi / period) ** 2 / 0.3048 == pytest.approx(radius_ft, rel=2e-3)


def test_left_mirrors_right_with_power_off() -> None:
    """Common practice, no source: with the power off a symmetrical aircraft spins alike both ways."""
    right = _fly(FAMILY["swift"], spin.plain(1, 3.0)).truth["spins"][0]
    left = _fly(FAMILY["swift"], spin.plain(-1, 3.0)).truth["spins"][0]
    assert (right["direction"], left["direction"]) == ("right", "left")
    for key in ("start_s", "spin_end_s", "level_s"):
        assert left[key] == pytest.approx(right[key], abs=0.02)
    assert left["turns"]["start_to_spinend"]["about_flight_path"] == pytest.approx(
        right["turns"]["start_to_spinend"]["about_flight_path"], abs=0.01
    )


def test_autorotation_emerges_and_obeys_the_steady_relations() -> None:
    """No spin is written into the model: pro-spin controls at the stall end in tan(alpha) = r/p within a few degrees."""
    flight = _fly(FAMILY["heron"], spin.plain(1, 6.0), height_m=7500.0, speed=80.0)
    s = flight.truth["spins"][0]
    last = (flight.time_s > s["recovery_controls_s"] - 2.0) & (flight.time_s < s["recovery_controls_s"])
    c = {k: v[last] for k, v in flight.columns.items()}
    rates = np.degrees(np.arctan2(c["yaw_rate_dps"].mean(), c["roll_rate_dps"].mean()))
    assert rates == pytest.approx(c["alpha_deg"].mean(), abs=8.0)
    assert 45.0 < c["alpha_deg"].mean() < 65.0
    # load 1/sin(alpha) of the resultant normal to the chord; the drag along the chord is small
    alpha = np.radians(c["alpha_deg"].mean())
    assert c["normal_load_g"].mean() == pytest.approx(1.0 / np.sin(alpha), rel=0.15)
    # radius: the force that turns the path, g / tan(alpha) towards the axis, over the rotation squared
    body = np.stack([c["longitudinal_load_g"], c["lateral_load_g"], -c["normal_load_g"]], axis=1)
    roll, pitch = np.radians(c["roll_deg"]), np.radians(c["pitch_deg"])
    down = np.stack([-np.sin(pitch), np.sin(roll) * np.cos(pitch), np.cos(roll) * np.cos(pitch)], axis=1)
    across = body - np.sum(body * down, axis=1)[:, None] * down
    assert np.linalg.norm(across, axis=1).mean() == pytest.approx(1.0 / np.tan(alpha), rel=0.25)


def test_a_conventional_aircraft_stops_within_one_turn_of_proper_controls() -> None:
    """Common practice, no source: anti-spin pedal and stick stop a conventional aircraft within about one turn."""
    for name in ("swift", "ibis"):
        s = _fly(FAMILY[name], spin.plain(1, 3.0)).truth["spins"][0]
        assert s["turns"]["rec_to_rotstop"]["about_vertical"] < 1.0


def test_mass_along_the_fuselage_recovers_later() -> None:
    """Common practice, no source: a fuselage-heavy aircraft spins flatter and needs more turns."""
    heavy = _fly(FAMILY["crane"], spin.plain(1, 4.0), height_m=7500.0, speed=80.0).truth["spins"][0]
    light = _fly(FAMILY["swift"], spin.plain(1, 4.0)).truth["spins"][0]
    assert heavy["turns"]["rec_to_rotstop"]["about_vertical"] > 1.5 > light["turns"]["rec_to_rotstop"]["about_vertical"]
    assert heavy["settled"]["alpha"][1] > light["settled"]["alpha"][1] + 20.0


def test_the_inverted_spin_of_a_shielded_tail_is_the_faster_one() -> None:
    """Common practice, no source: the inverted spin is faster where the tailplane shields the fin upright only."""
    frame = replace(
        FAMILY["swift"],
        elevator_effect_rad=0.525,
        fin_z_m=-0.073,
        fin_blank=0.728,
        tail_z_m=0.183,
        cg_aft_m=0.003,
        stall_alpha_inverted_rad=0.26,
        zero_lift_alpha_rad=-0.004,
        moment_stalled=-0.081,
        plate_normal_90=1.148,
    )
    upright = _fly(frame, spin.plain(1, 3.0), height_m=6500.0).truth["spins"][0]
    inverted = _fly(frame, spin.plain(1, 3.0, inverted=True), height_m=6500.0).truth["spins"][0]
    assert (upright["orientation"], inverted["orientation"]) == ("upright", "inverted")
    assert inverted["settled"]["s_per_turn"] < upright["settled"]["s_per_turn"]


def test_the_prescribed_falter_comes_once_per_turn() -> None:
    """Common practice, no source: the rotation may falter once per turn, by up to two thirds."""
    flight = kinematic.build("faltering", 0)
    s = flight.truth["spins"][0]
    until = s["recovery_controls_s"] or s["spin_end_s"] - 2.0
    inside = (flight.time_s > s["start_s"] + 3.0) & (flight.time_s < until)
    rate = np.abs(np.gradient(flight.turns_about_vertical[inside], flight.time_s[inside]))
    assert 0.3 < rate.min() / rate.max() < 0.65
    dips = int(np.sum((rate[1:-1] < rate[:-2]) & (rate[1:-1] <= rate[2:])))
    assert abs(dips - np.ptp(flight.turns_about_flight_path[inside])) <= 1.5


def test_a_larger_aircraft_turns_slower() -> None:
    """Froude scaling: lengths times 1.6, periods times sqrt(1.6); the air's density does not scale, hence 15 %."""
    small = _fly(FAMILY["heron"], spin.plain(1, 5.0), height_m=7000.0, speed=80.0).truth["spins"][0]["settled"]
    big_frame = airframe.scaled(FAMILY["heron"], 1.6)
    big = _fly(big_frame, spin.plain(1, 5.0), height_m=7000.0, speed=80.0 * 1.6**0.5).truth["spins"][0]["settled"]
    assert big["s_per_turn"] / small["s_per_turn"] == pytest.approx(1.6**0.5, rel=0.15)


@pytest.mark.parametrize("situation", ["overcontrol", "reversal", "again", "three spins"])
def test_a_catalogued_draw_is_what_its_name_promises(situation: str) -> None:
    assert credible(build(situation, 0))


def test_the_labels_reproduce_the_example_flights_truth() -> None:
    """Starts and ends of every example flight within one frame, from its recorded channels."""
    flights = [f for f in shared.flights() if f.truth["spins"]]
    if not flights:
        pytest.skip("the flights with known truth are not beside this checkout")
    for flight in flights:
        c = {k: np.radians(v) for k, v in flight.columns.items() if k.endswith(("_deg", "_dps"))}
        omega = -c["roll_rate_dps"] * np.sin(c["pitch_deg"]) + np.cos(c["pitch_deg"]) * (
            c["pitch_rate_dps"] * np.sin(c["roll_deg"]) + c["yaw_rate_dps"] * np.cos(c["roll_deg"])
        )
        stall = np.radians(16.0 if flight.truth["airframe"] == "fusheavy" else 14.5)
        exact = labels.Exact(
            flight.time_s, c["alpha_deg"], c["yaw_rate_dps"], omega, flight.turns_about_flight_path,
            flight.turns_about_vertical, flight.columns["pressure_altitude_ft"] * 0.3048, c["pitch_deg"],
            np.unwrap(c["heading_deg"]), stall, np.radians(14.5),
        )  # fmt: skip
        ours = labels.label(exact, {})["spins"]
        theirs = flight.truth["spins"]
        assert [s["orientation"] for s in ours] == [s["orientation"] for s in theirs]
        assert [s["direction"] for s in ours] == [s["direction"] for s in theirs]
        for key in ("start_s", "spin_end_s"):
            np.testing.assert_allclose([s[key] for s in ours], [s[key] for s in theirs], atol=0.012)
