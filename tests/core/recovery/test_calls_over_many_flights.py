"""What must hold of the calls on every flight of a large generated set, and on any seed hypothesis picks.

The set is small here to keep the suite quick; `SPINFLOOR_DRAWN_FLIGHTS=600 pytest` on this file is the large run.
"""

import os
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.core.recovery.generator import Flight, Told, make_flight, run

from spinfloor.core.detector.emission import CODE_CALL
from spinfloor.core.plan.model import Card
from spinfloor.core.recovery import calls, reasons

FLIGHTS = int(os.environ.get("SPINFLOOR_DRAWN_FLIGHTS", "120"))


@pytest.fixture(scope="module")
def flown() -> list[tuple[Flight, Told]]:
    return [(flight, run(flight)) for flight in map(make_flight, range(FLIGHTS))]


def _speaking_ns(flight: Flight) -> int:
    return int(float(flight.settings["speaking_s"][0]) * 1e9)


def _lead_s(flight: Flight) -> float:
    return sum(float(flight.settings[name][0]) for name in ("telemetry_age_s", "speaking_s", "reaction_s"))


def test_the_set_is_worth_testing(flown: list[tuple[Flight, Told]]) -> None:
    """Every call and every reason occurs, and flights with and without each."""
    seen = {(call, reason) for _, told in flown for _, _, call, reason in told.calls}
    assert {call for call, _ in seen} == {0, 1, 2, 3, 4, 5}
    assert {reason for _, reason in seen} == set(reasons.REASON_WORDS)
    quiet = sum(not any(call >= reasons.RECOVER for _, _, call, _ in told.calls) for _, told in flown)
    assert FLIGHTS // 100 < quiet < FLIGHTS // 2


def _overlaps(flight: Flight, told: Told) -> Iterator[tuple[int, int]]:
    speaking = _speaking_ns(flight)
    for (_, t0, call0, _), (_, t1, call1, _) in zip(told.calls, told.calls[1:], strict=False):
        if t1 < t0 + speaking and call1 <= call0:
            yield t0, t1


def test_never_two_calls_at_once(flown: list[tuple[Flight, Told]]) -> None:
    """Within a call's speaking time only a higher one may start, and never two in one step."""
    for flight, told in flown:
        assert list(_overlaps(flight, told)) == []
        steps = [step for step, _, _, _ in told.calls]
        assert len(steps) == len(set(steps))


def _first_due(flight: Flight, ahead_s: float, floor: str) -> Iterator[tuple[int, int]]:
    """(spin, step) at which, spin by spin, the floor is first reached within the lead at the present sink."""
    m = flight.motion
    height = m["altitude_m"] - float(flight.settings[floor][0]) - np.maximum(m["sink_mps"], 0.0) * ahead_s
    due = (m["in_spin"] == 1) & (height <= 0.0)
    for spin in np.unique(m["spin_ordinal"][due]):
        yield int(spin), int(np.argmax(due & (m["spin_ordinal"] == spin)))


def test_abandon_never_later_than_its_lead(flown: list[tuple[Flight, Told]]) -> None:
    checked = 0
    for flight, told in flown:
        for spin, due in _first_due(flight, _lead_s(flight), "abandon_floor_m"):
            checked += 1
            issued = [
                step
                for step, _, call, _ in told.calls
                if call == reasons.ABANDON and flight.motion["spin_ordinal"][step] == spin
            ]
            assert issued, f"spin {spin} reached the abandon floor's lead at step {due} without a call"
            assert issued[0] <= due
    assert checked > FLIGHTS // 6


def test_chute_never_later_than_its_lead_unless_abandon_speaks(flown: list[tuple[Flight, Told]]) -> None:
    checked = 0
    for flight, told in flown:
        if flight.settings["chute_fitted"][0] != 1.0:
            assert all(call != reasons.CHUTE for _, _, call, _ in told.calls)
            continue
        for spin, due in _first_due(flight, _lead_s(flight), "chute_floor_m"):
            checked += 1
            issued = [
                step
                for step, _, call, _ in told.calls
                if call >= reasons.CHUTE and flight.motion["spin_ordinal"][step] == spin
            ]
            assert issued
            assert issued[0] <= due
    assert checked > FLIGHTS // 12


def test_no_recover_after_the_end_or_the_controls(flown: list[tuple[Flight, Told]]) -> None:
    for flight, told in flown:
        for step, _, call, _ in told.calls:
            if call >= reasons.RECOVER:
                assert flight.motion["in_spin"][step] == 1
            if call == reasons.RECOVER:
                assert flight.motion["recovery_started"][step] == 0


def test_recover_comes_before_the_planned_turns_are_up(flown: list[tuple[Flight, Told]]) -> None:
    """In every spin that flies its planned turns without controls, the call is there by then."""
    checked = 0
    for flight, told in flown:
        m, planned = flight.motion, told.trace["planned_turns"]
        up = (m["in_spin"] == 1) & (m["recovery_started"] == 0) & (m["turns"] >= planned)
        for spin in np.unique(m["spin_ordinal"][up]):
            first = int(np.argmax(up & (m["spin_ordinal"] == spin)))
            known = int(np.argmax((m["spin_ordinal"] == spin) & (m["in_spin"] == 1)))
            checked += 1
            issued = [s for s, _, call, _ in told.calls if call >= reasons.RECOVER and known <= s <= first]
            assert issued
    assert checked > FLIGHTS // 12


def _held(told: Told, call: int) -> np.ndarray:
    held: np.ndarray = (told.trace["active"][:, call] & ~told.trace["silenced"][:, call]) != 0
    return held


def test_nothing_lower_delays_a_higher_call(flown: list[tuple[Flight, Told]]) -> None:
    """The first issue of a held call waits only for a call at least as high; a lower one is cut off at once."""
    for flight, told in flown:
        spoken = told.calls
        speaking = _speaking_ns(flight)
        for call in (reasons.ABANDON, reasons.CHUTE, reasons.RECOVER):
            held = _held(told, call)
            begins = np.flatnonzero(held & ~np.concatenate(([False], held[:-1])))
            for step in begins:
                now = int(flight.motion["time_ns"][step])
                if call == reasons.RECOVER and flight.motion["recovery_started"][step] == 1:
                    continue
                repeat = int(float(flight.settings["repeat_call_s"][0]) * 1e9)
                if any(c == call and 0 <= now - t < repeat for s, t, c, _ in spoken if s < step):
                    continue  # held anew when data came back: it has just been said
                same_step = [c for s, _, c, _ in spoken if s == step]
                higher_speaking = any(c >= call and t <= now < t + speaking for s, t, c, _ in spoken if s <= step)
                assert higher_speaking or call in same_step


def test_the_three_repeating_calls_ignore_everything_below(flown: list[tuple[Flight, Told]]) -> None:
    """The same flight with every caution flag down gives the same three repeating calls, to the nanosecond."""
    for flight, told in flown[: FLIGHTS // 2]:
        still = flight.motion.copy()
        for name in ("power_on", "flattening", "degraded", "data_lost_now", "data_restored_now"):
            still[name] = 0
        calm = run(Flight(flight.plan, still))
        assert [c for c in calm.calls if c[2] >= reasons.RECOVER] == [c for c in told.calls if c[2] >= reasons.RECOVER]


def test_repeats_keep_their_distance(flown: list[tuple[Flight, Told]]) -> None:
    """No chatter: a repeating call comes no sooner than its period, however its condition flickers."""
    for flight, told in flown:
        period = int(float(flight.settings["repeat_call_s"][0]) * 1e9)
        for call in (reasons.ABANDON, reasons.CHUTE, reasons.RECOVER):
            by_spin: dict[int, int] = {}
            for step, t, c, _ in told.calls:
                if c != call:
                    continue
                spin = int(flight.motion["spin_ordinal"][step])
                assert spin not in by_spin or t - by_spin[spin] >= period
                by_spin[spin] = t


def test_cautions_of_a_kind_do_not_chatter(flown: list[tuple[Flight, Told]]) -> None:
    """Flags flickering at every frame: flattening once a spin, the others no more often than their own rest."""
    for flight, told in flown:
        once: set[tuple[int, int]] = set()
        for step, _, _, reason in told.calls:
            if reason == reasons.FLATTENING:
                key = (int(flight.motion["spin_ordinal"][step]), reason)
                assert key not in once
                once.add(key)


def test_turn_words_count_up_and_are_never_late(flown: list[tuple[Flight, Told]]) -> None:
    for flight, told in flown:
        last: dict[int, int] = {}
        for row, ints, step in zip(told.floats, told.ints, told.steps, strict=True):
            if ints[0] != CODE_CALL or row[calls.P_CALL] != reasons.TURN:
                continue
            spin = int(flight.motion["spin_ordinal"][step])
            turn = int(row[calls.P_TURN])
            assert turn > last.get(spin, 0)
            assert 0.0 <= flight.motion["turns"][step] - turn <= calls.LATE_TURN
            last[spin] = turn


def test_estimated_data_says_so(flown: list[tuple[Flight, Told]]) -> None:
    estimated = 0
    for flight, told in flown:
        for row, ints, step in zip(told.floats, told.ints, told.steps, strict=True):
            if ints[0] == CODE_CALL:
                assert row[calls.P_ESTIMATED] == flight.motion["estimated"][step]
                estimated += int(row[calls.P_ESTIMATED])
    assert estimated > FLIGHTS // 30


@given(st.integers(0, 2**31), st.floats(0.0, 1.0))
@settings(max_examples=25, deadline=None)
def test_restoring_anywhere_changes_nothing(seed: int, where: float) -> None:
    flight = make_flight(seed)
    whole = run(flight)
    cut = int(where * len(flight.motion))
    head = run(flight, last=cut)
    decision = np.frombuffer(bytearray(head.decision.tobytes()), head.decision.dtype)
    beliefs = np.frombuffer(bytearray(head.beliefs.tobytes()), head.beliefs.dtype)
    tail = run(flight, decision=decision, beliefs=beliefs, first=cut)
    assert np.concatenate([head.ints, tail.ints]).tobytes() == whole.ints.tobytes()
    assert np.concatenate([head.floats, tail.floats]).tobytes() == whole.floats.tobytes()
    assert tail.beliefs.tobytes() == whole.beliefs.tobytes()


@given(st.integers(0, 2**31))
@settings(max_examples=25, deadline=None)
def test_left_and_right_are_told_alike(seed: int) -> None:
    flight = make_flight(seed)
    mirrored = flight.motion.copy()
    mirrored["direction"] *= -1
    other = Flight(flight.plan, mirrored)
    other.cards["direction"] *= -1
    assert run(other).calls == run(flight).calls


@given(st.integers(0, 2**31), st.floats(1_000.0, 20_000.0))
@settings(max_examples=25, deadline=None)
def test_raising_everything_changes_nothing(seed: int, by_ft: float) -> None:
    """Only heights above the floors matter: flight and floors raised together, in the same air, give the same calls."""
    flight = make_flight(seed)
    floors = flight.plan.floors
    raised = floors.model_copy(
        update={
            "recovery_ft": floors.recovery_ft + by_ft,
            "abandon_ft": floors.abandon_ft + by_ft,
            "ground_elevation_ft": floors.ground_elevation_ft + by_ft,
            "chute_ft": None if floors.chute_ft is None else floors.chute_ft + by_ft,
        }
    )
    motion = flight.motion.copy()
    for name in ("altitude_m", "spin_end_altitude_m", "recovery_start_altitude_m", "level_altitude_m"):
        motion[name] += by_ft * 0.3048
    cards = [replace_entry(card, by_ft) for card in flight.plan.cards]
    lifted = Flight(flight.plan.model_copy(update={"floors": raised, "cards": cards}), motion)
    lifted.settings["altitude_offset_m"] += by_ft * 0.3048  # the same pressure altitudes in a datum lower by so much
    here, there = run(flight).calls, run(lifted).calls
    assert [(c, r) for _, _, c, r in there] == [(c, r) for _, _, c, r in here]


def replace_entry(card: Card, by_ft: float) -> Card:
    return card.model_copy(update={"entry_altitude_ft": card.entry_altitude_ft + by_ft})
