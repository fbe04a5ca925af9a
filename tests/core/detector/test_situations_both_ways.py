"""Each situation that is easily told wrong, on a named flight, with every channel and by rates and altitude alone.

Each test first looks at the truth, so that a flight that changed its story fails here and not in silence.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from tests.core.detector.flights import block_of, of_kind, plan_of
from tests.truth.degrade import degraded
from tests.truth.flight import START_NS, Flight
from tests.truth.keep import kept
from tests.truth.kinematic import build as prescribed
from tests.truth.rotary.flights import build as by_tables
from tests.truth.situations import build as flown

from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind

BOTH = pytest.mark.parametrize("five", [False, True], ids=["full", "five"])
BUILDERS = {"ours": flown, "kinematic": prescribed, "rotary": by_tables}
TURNS = {False: 0.10, True: 0.35}


@cache
def of_source(source: str, situation: str, seed: int) -> Flight:
    return kept(source, situation, seed, BUILDERS[source])


def told(f: Flight, five: bool, *, chute: bool = False) -> list[Event]:
    plan = plan_of(f)
    if chute:
        aircraft = plan.aircraft.model_copy(update={"chute_fitted": True})
        floors = plan.floors.model_copy(update={"chute_ft": 2000.0})
        plan = plan.model_copy(update={"aircraft": aircraft, "floors": floors})
    return Detector(sortie="t", plan=plan).feed(block_of(degraded(f, "none, 100 Hz", five=five)))


def seconds(event: Event) -> float:
    return (event.time_ns - START_NS) * 1e-9


def cautions(events: list[Event]) -> list[str]:
    return [str(e.data["words"]) for e in of_kind(events, Kind.CALL) if e.data["call"] == "caution"]


def number(value: object) -> float:
    return float(str(value))


def counted(f: Flight, events: list[Event], five: bool) -> list[dict[str, Any]]:
    """Every true spin found once, named right and counted; returns the starts' data."""
    started, ended = of_kind(events, Kind.SPIN_STARTED), of_kind(events, Kind.SPIN_ENDED)
    spins = f.truth["spins"]
    assert [(e.data["orientation"], e.data["direction"]) for e in started] == [
        (s["orientation"], s["direction"]) for s in spins
    ]
    assert len(ended) == len(spins)
    for event, true in zip(ended, spins, strict=True):
        turns = true["turns"]["start_to_spinend"]["about_flight_path"]
        assert abs(number(event.data["turns"]) - turns) <= TURNS[five]
    return [dict(e.data) for e in started]


def rotation_dps(f: Flight) -> NDArray[np.float64]:
    """True rotation about the vertical."""
    return np.asarray(np.abs(np.gradient(f.turns_about_vertical, f.time_s)) * 360.0)


@BOTH
@pytest.mark.parametrize("seed", [0, 1])
def test_a_falter_is_no_recovery(seed: int, five: bool) -> None:
    f = of_source("kinematic", "faltering", seed)
    (spin,) = f.truth["spins"]
    until = spin["recovery_controls_s"] or spin["spin_end_s"] - 2.0
    inside = (f.time_s > spin["start_s"] + 3.0) & (f.time_s < until)
    rate = rotation_dps(f)[inside]
    assert rate.min() < 0.55 * rate.max()
    events = told(f, five)
    counted(f, events, five)
    assert not [e for e in of_kind(events, Kind.RECOVERY_STARTED) if seconds(e) < until - 1.0]
    assert not {e.data["to"] for e in of_kind(events, Kind.PHASE) if seconds(e) < until - 1.0} & {"recovering", "dive"}


@BOTH
@pytest.mark.parametrize("seed", [0, 3, 5])
def test_rotation_that_rises_after_the_controls_is_no_worsening(seed: int, five: bool) -> None:
    """No caution, no chute, no second start; and `recover` is not called once the controls are seen."""
    f = of_source("kinematic", "rotation rises", seed)
    (spin,) = f.truth["spins"]
    rate, at = rotation_dps(f), spin["recovery_controls_s"]
    before = float(np.median(rate[(f.time_s > at - 3.0) & (f.time_s < at)]))
    assert rate[f.time_s > at].max() > 1.15 * before
    events = told(f, five, chute=True)
    counted(f, events, five)
    later = [e for e in of_kind(events, Kind.CALL) if seconds(e) > at]
    assert {e.data["call"] for e in later} <= {"turn", "status", "recover" if five else "turn"}
    if not five:
        (recovery,) = of_kind(events, Kind.RECOVERY_STARTED)
        assert seconds(recovery) == pytest.approx(at, abs=0.3)


@BOTH
@pytest.mark.parametrize("seed", [1, 5])
def test_an_over_strong_recovery_into_an_inverted_spin_is_told_as_one(seed: int, five: bool) -> None:
    f = of_source("ours", "overcontrol", seed)
    events = told(f, five)
    starts = counted(f, events, five)
    assert [d["turned_inverted"] for d in starts] == [False, True]
    assert "inverted" in cautions(events)


@BOTH
@pytest.mark.parametrize("seed", [0, 4])
def test_a_reversal_is_told_as_one(seed: int, five: bool) -> None:
    f = of_source("ours", "reversal", seed)
    events = told(f, five)
    starts = counted(f, events, five)
    assert [d["reversed"] for d in starts] == [False, True]
    assert "reversal" in cautions(events)


@BOTH
@pytest.mark.parametrize("seed", [0, 3])
def test_an_immediate_re_entry_is_told_as_one(seed: int, five: bool) -> None:
    f = of_source("ours", "again", seed)
    first, second = f.truth["spins"]
    assert second["start_s"] - first["spin_end_s"] < 6.0
    events = told(f, five)
    starts = counted(f, events, five)
    assert [d["restarted"] for d in starts] == [False, True]
    assert "spinning again" in cautions(events)


@BOTH
@pytest.mark.parametrize("seed", [0, 1])
def test_a_spin_against_the_pedal_keeps_its_direction(seed: int, five: bool) -> None:
    """The pedal stands against the rotation for seconds and decides nothing."""
    f = of_source("ours", "against the pedal", seed)
    (spin,) = f.truth["spins"]
    way = 1.0 if spin["direction"] == "right" else -1.0
    held = (f.time_s > spin["start_s"] + 2.0) & (f.time_s < spin["recovery_controls_s"])
    against = f.columns["pedal_right_pct"][held] * way < -20.0
    assert against.sum() * float(np.median(np.diff(f.time_s))) > 1.0
    counted(f, told(f, five), five)


@BOTH
@pytest.mark.parametrize(
    ("source", "situation", "seed"),
    [("rotary", "half turn", 2), ("rotary", "hammerhead", 6), ("ours", "half turn", 11)],
)
def test_a_half_turn_is_a_spin(source: str, situation: str, seed: int, five: bool) -> None:
    """Three quarters of a turn in all, and one recovered from after half a turn."""
    f = of_source(source, situation, seed)
    assert f.truth["spins"][0]["turns"]["start_to_spinend"]["about_flight_path"] < (0.9 if source == "rotary" else 1.3)
    counted(f, told(f, five), five)


@BOTH
@pytest.mark.parametrize(("situation", "seed"), [("flat", 3), ("flat", 9), ("flattening", 4), ("oscillatory", 0)])
def test_several_recovery_turns_of_a_flat_spin_are_counted(situation: str, seed: int, five: bool) -> None:
    """From the first movement of the controls; by rates alone that is inferred, later, and says so."""
    f = of_source("ours", situation, seed)
    (spin,) = f.truth["spins"]
    true = spin["turns"]["rec_to_spinend"]["about_flight_path"]
    assert true > 2.0
    assert spin["settled"]["alpha"][1] > 45.0
    events = told(f, five)
    (ended,) = of_kind(events, Kind.SPIN_ENDED)
    if five:
        assert ended.data["recovery_source"] == "inferred"
        assert 0.0 < number(ended.data["recovery_turns"]) < true
    else:
        assert ended.data["recovery_source"] == "controls"
        assert number(ended.data["recovery_turns"]) == pytest.approx(true, abs=0.10)
    modes = [e for e in of_kind(events, Kind.SPIN_MODE) if seconds(e) < spin["recovery_controls_s"]]
    assert modes[-1].data["mode"] in ("moderately flat", "flat")


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_power_left_on_is_a_caution(seed: int) -> None:
    """Only where the throttle is telemetered: by rates nobody knows, and nothing is said."""
    f = of_source("ours", "power on", seed)
    (spin,) = f.truth["spins"]
    inside = (f.time_s > spin["start_s"]) & (f.time_s < spin["recovery_controls_s"])
    assert f.columns["throttle_pct"][inside].min() > 20.0
    assert cautions(told(f, five=False)).count("power") == 1
    assert "power" not in cautions(told(f, five=True))
    idle = of_source("ours", "half turn", 11)
    assert "power" not in cautions(told(idle, five=False))


@BOTH
@pytest.mark.parametrize("seed", [0, 1])
def test_flattening_turn_on_turn_is_a_caution(seed: int, five: bool) -> None:
    f = of_source("kinematic", "steep to flat", seed)
    assert "flattening" in cautions(told(f, five))


@BOTH
@pytest.mark.parametrize("seed", [0, 3])
def test_a_spin_that_stays_as_steep_is_not_said_to_flatten(seed: int, five: bool) -> None:
    assert "flattening" not in cautions(told(of_source("kinematic", "steady", seed), five))


@BOTH
@pytest.mark.parametrize("seed", [2, 3, 4])
def test_inverted_snap_rolls_are_no_tumble_and_no_spin(seed: int, five: bool) -> None:
    f = of_source("ours", "inverted snaps", seed)
    events = told(f, five)
    assert "tumble" not in {e.data["to"] for e in of_kind(events, Kind.PHASE)}
    if not f.truth["borderline"]:
        assert not of_kind(events, Kind.SPIN_STARTED)


@BOTH
@pytest.mark.parametrize(
    ("source", "situation", "seed"),
    [("rotary", "inverted snap", 8), ("ours", "tail slide", 1), ("rotary", "gyration", 0)],
)
def test_what_pitches_fast_but_not_round_is_no_tumble(source: str, situation: str, seed: int, five: bool) -> None:
    """A third to half a turn of fast pitching: the nearest of all flights of the benchmark."""
    f = of_source(source, situation, seed)
    assert np.abs(f.columns["pitch_rate_dps"]).max() > 60.0
    assert "tumble" not in {e.data["to"] for e in of_kind(told(f, five), Kind.PHASE)}
