"""When the recovery controls went in, against the simulator's pilot: from their telemetry, from a mark, and inferred."""

import numpy as np
import pytest
from tests.core.detector.flights import clean_block, events_of, flight, of_kind, plan_of
from tests.truth.flight import START_NS

from spinfloor.core.channels import PEDAL_RIGHT, STICK_AFT, STICK_RIGHT
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Event, Kind, Mark
from spinfloor.core.frames import FrameBlock

FLIGHTS = [("developed", 0), ("flat", 2), ("inverted", 0), ("oscillatory", 0)]


def true_s(situation: str, seed: int) -> float:
    return float(flight(situation, seed).truth["spins"][0]["recovery_controls_s"])


def told(events: list[Event]) -> tuple[float, object]:
    first = of_kind(events, Kind.RECOVERY_STARTED)[0]
    return (first.time_ns - START_NS) * 1e-9, first.data["source"]


@pytest.mark.parametrize(("situation", "seed"), FLIGHTS)
def test_from_their_telemetry(situation: str, seed: int) -> None:
    at_s, source = told(events_of(flight(situation, seed), "none, 100 Hz"))
    assert source == "controls"
    assert at_s == pytest.approx(true_s(situation, seed), abs=0.15)


@pytest.mark.parametrize(("situation", "seed"), [("developed", 0), ("flat", 2)])
def test_inferred_from_the_motion(situation: str, seed: int) -> None:
    """What is seen is the effect, so it comes late. The page of limits says how often it is worse than here."""
    at_s, source = told(events_of(flight(situation, seed), "none, 100 Hz", five=True))
    assert source == "inferred"
    assert 0.0 < at_s - true_s(situation, seed) < 5.0


def test_from_the_engineers_mark() -> None:
    f = flight("developed", 0)
    whole = clean_block(f, 100.0)
    values = whole.values.copy()
    values[:, [PEDAL_RIGHT, STICK_AFT, STICK_RIGHT]] = float("nan")
    block = FrameBlock(whole.time_ns, values)
    at_ns = START_NS + int(true_s("developed", 0) * 1e9)
    cut = int((block.time_ns <= at_ns).sum()) + 30  # the mark comes three tenths of a second after what it marks
    detector = Detector(sortie="t", plan=plan_of(f))
    events = detector.feed(block.slice(0, cut)) + detector.mark(Mark("controls_applied", at_ns, "engineer", {}))
    events += detector.feed(block.slice(cut, len(block)))
    at_s, source = told(events)
    assert source == "mark"
    assert at_s == pytest.approx(true_s("developed", 0), abs=0.02)


def test_inferred_when_the_control_telemetry_has_gone() -> None:
    """Half a minute of it early in the flight made every later recovery go untold."""
    f = flight("three spins", 0)
    whole = clean_block(f, 100.0)
    values = whole.values.copy()
    second = f.truth["spins"][1]["start_s"]
    late = whole.time_ns > START_NS + int((second - 12.0) * 1e9)
    values[late, PEDAL_RIGHT] = values[late, STICK_AFT] = float("nan")
    events = Detector(sortie="t", plan=plan_of(f)).feed(FrameBlock(whole.time_ns, values))
    sources = [e.data["source"] for e in of_kind(events, Kind.RECOVERY_STARTED)]
    assert sources == ["controls", "inferred", "inferred"]


def test_slow_control_telemetry_still_counts() -> None:
    """Five values a second among a hundred frames."""
    f = flight("developed", 0)
    whole = clean_block(f, 100.0)
    values = whole.values.copy()
    between = [i for i in range(len(whole)) if i % 20]
    values[between, PEDAL_RIGHT] = values[between, STICK_AFT] = float("nan")
    at_s, source = told(Detector(sortie="t", plan=plan_of(f)).feed(FrameBlock(whole.time_ns, values)))
    assert source == "controls"
    assert at_s == pytest.approx(true_s("developed", 0), abs=0.5)


def with_hands(from_s: float, to_s: float, hands: dict[int, float]) -> tuple[list[Event], float]:
    """The developed spin, four turns planned, with controls set to other values for a while; and the true time of its recovery."""
    f = flight("developed", 0)
    whole = clean_block(f, 100.0)
    values = whole.values.copy()
    t = (whole.time_ns - START_NS) * 1e-9
    for channel, value in hands.items():
        values[(t >= from_s) & (t < to_s), channel] = value
    plan = plan_of(f)
    plan = plan.model_copy(update={"cards": [plan.cards[0].model_copy(update={"turns": 4.0})]})
    return Detector(sortie="t", plan=plan).feed(FrameBlock(whole.time_ns, values)), true_s("developed", 0)


def recover_calls(events: list[Event]) -> list[float]:
    return [(e.time_ns - START_NS) * 1e-9 for e in of_kind(events, Kind.CALL) if e.data["call"] == "recover"]


def test_a_recovery_that_is_given_up_does_not_silence_recover() -> None:
    """Controls in at 9 s, back at 11 s, and the spin goes on: *recover* is due, and the second recovery is told too."""
    pedal = float(np.sign(flight("developed", 0).columns["pedal_right_pct"][1500]))
    events, at_s = with_hands(9.0, 11.0, {PEDAL_RIGHT: -pedal, STICK_AFT: -0.5})
    first, second = ((e.time_ns - START_NS) * 1e-9 for e in of_kind(events, Kind.RECOVERY_STARTED))
    assert first == pytest.approx(9.0, abs=0.1)
    assert second == pytest.approx(at_s, abs=0.15)
    assert [t for t in recover_calls(events) if 12.0 < t < at_s]


def test_a_stick_that_is_eased_is_no_recovery() -> None:
    """Half aft instead of full, the pedal still with the spin."""
    events, at_s = with_hands(8.0, 15.0, {STICK_AFT: 0.5})
    (only,) = of_kind(events, Kind.RECOVERY_STARTED)
    assert (only.time_ns - START_NS) * 1e-9 == pytest.approx(at_s, abs=0.15)
    assert [t for t in recover_calls(events) if 12.0 < t < at_s]
