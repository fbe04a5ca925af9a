"""When a tick is due: in flight by the steady clock, in a rehearsal by the player's word; never before a frame."""

from spinfloor.detect.silence import Silence, worth_ticking

S = 1_000_000_000


def silent_since(frame_ns: int, **when: int) -> Silence:
    """A frame of this time came at 0 of every clock, or as said."""
    silence = Silence(0.5)
    silence.came(frame_ns, **{"arrived_wall_ns": 0, "wall_ns": 0, "steady_ns": 0, **when})
    return silence


def test_no_tick_before_the_first_frame_nor_within_the_limit() -> None:
    assert Silence(0.5).due_flown(100 * S) == []
    assert Silence(0.5).due_played((7 * S, 93 * S)) == []
    silence = silent_since(7 * S, steady_ns=100 * S)
    assert silence.due_flown(100 * S + S // 2 - 1) == []
    assert silence.due_flown(100 * S + S // 2) == [7 * S + S // 2]
    assert silence.due_played((7 * S, S // 2 - 1)) == []
    assert silence.due_played((7 * S, S // 2)) == [7 * S + S // 2]


def test_a_player_that_is_paused_late_or_away_is_no_lost_link() -> None:
    silence = silent_since(7 * S)
    assert silence.due_flown(60 * S) == [67 * S]
    assert silence.due_played((7 * S, S // 10)) == []
    assert silence.due_played(None) == []


def test_what_a_player_said_before_the_newest_frame_counts_no_more() -> None:
    silence = silent_since(7 * S)
    assert silence.due_played((6 * S, 3 * S)) == []


def test_however_fast_it_is_played_the_ticks_are_those_of_real_time() -> None:
    silence = silent_since(7 * S)
    expected = [7 * S + S // 2 + k * S // 10 for k in range(16)]
    assert silence.due_played((7 * S, 2 * S)) == expected
    silence.last_tick_ns = expected[-1]
    assert silence.due_played((7 * S, 2 * S)) == []
    assert silence.due_played((7 * S, 5 * S // 2)) == [9 * S + k * S // 10 for k in range(1, 6)]


def test_ticks_never_repeat_or_run_back() -> None:
    silence = silent_since(7 * S)
    silence.last_tick_ns = 9 * S
    assert silence.due_flown(2 * S) == []
    assert silence.due_flown(2 * S + 1) == [9 * S + 1]


def test_after_a_restart_the_wall_clock_says_how_long_it_has_been() -> None:
    silence = silent_since(7 * S, arrived_wall_ns=1000 * S, wall_ns=1003 * S, steady_ns=50 * S)
    assert silence.due_flown(50 * S) == [10 * S]


def test_a_wall_clock_set_back_counts_as_no_time() -> None:
    silence = silent_since(7 * S, arrived_wall_ns=1000 * S, wall_ns=900 * S, steady_ns=50 * S)
    assert silence.due_flown(50 * S) == []


def test_since_a_tick_is_less_than_since_the_frame() -> None:
    silence = silent_since(7 * S, steady_ns=100 * S)
    assert silence.silent_s(103 * S) == 3.0
    assert silence.since_s(7 * S, 103 * S) == 3.0
    assert silence.since_s(9 * S, 103 * S) == 1.0
    assert silence.since_s(99 * S, 103 * S) == 0.0
    assert Silence(0.5).silent_s(0) is None
    assert Silence(0.5).since_s(7 * S, 0) is None


def test_time_goes_on_in_a_spin_and_until_the_loss_is_said() -> None:
    assert worth_ticking({"in_spin": True, "phase": "developed", "link": "lost"}, 100.0)
    assert worth_ticking({"in_spin": False, "phase": "dive", "link": "lost"}, 100.0)
    assert worth_ticking({"in_spin": False, "phase": "flight", "link": "ok"}, 100.0)
    assert not worth_ticking({"in_spin": False, "phase": "flight", "link": "lost"}, 1.0)


def test_nothing_is_carried_on_for_more_than_two_minutes() -> None:
    spin = {"in_spin": True, "phase": "developed", "link": "lost"}
    assert worth_ticking(spin, 119.9)
    assert not worth_ticking(spin, 120.0)
