"""When a tick is due: by the steady clock, in the source's time, never before a frame and never while paused."""

import pytest

from spinfloor.detect.silence import Silence, worth_ticking

S = 1_000_000_000


def test_no_tick_before_the_first_frame_nor_within_the_limit() -> None:
    silence = Silence(0.5)
    assert silence.due(100 * S, 1.0) == []
    silence.came(7 * S, arrived_wall_ns=0, wall_ns=0, steady_ns=100 * S)
    assert silence.due(100 * S + S // 2 - 1, 1.0) == []
    assert silence.due(100 * S + S // 2, 1.0) == [7 * S + S // 2]


@pytest.mark.parametrize(("pace", "newest"), [(0.5, 8 * S), (1.0, 9 * S), (4.0, 15 * S), (0.0, None)])
def test_the_source_clock_goes_on_at_the_replay_pace(pace: float, newest: int | None) -> None:
    silence = Silence(0.5)
    silence.came(7 * S, arrived_wall_ns=0, wall_ns=0, steady_ns=0)
    ticks = silence.due(2 * S, pace)
    assert (ticks[-1] if ticks else None) == newest


def test_a_busy_moment_of_a_fast_replay_is_no_lost_link() -> None:
    silence = Silence(0.5)
    silence.came(7 * S, arrived_wall_ns=0, wall_ns=0, steady_ns=0)
    assert silence.due(S // 11, 10.0) == []


def test_a_fast_replay_gets_the_ticks_of_real_time() -> None:
    silence = Silence(0.5)
    silence.came(7 * S, arrived_wall_ns=0, wall_ns=0, steady_ns=0)
    expected = [7 * S + S // 2 + k * S // 10 for k in range(16)]
    assert silence.due(S // 5, 10.0) == expected
    silence.last_tick_ns = expected[-1]
    assert silence.due(S // 5, 10.0) == []
    assert silence.due(S // 4, 10.0) == [9 * S + k * S // 10 for k in range(1, 6)]


def test_ticks_never_repeat_or_run_back() -> None:
    silence = Silence(0.5)
    silence.came(7 * S, arrived_wall_ns=0, wall_ns=0, steady_ns=0)
    silence.last_tick_ns = 9 * S
    assert silence.due(2 * S, 1.0) == []
    assert silence.due(2 * S + 1, 1.0) == [9 * S + 1]


def test_after_a_restart_the_wall_clock_says_how_long_it_has_been() -> None:
    silence = Silence(0.5)
    silence.came(7 * S, arrived_wall_ns=1000 * S, wall_ns=1003 * S, steady_ns=50 * S)
    assert silence.due(50 * S, 1.0) == [10 * S]


def test_a_wall_clock_set_back_counts_as_no_time() -> None:
    silence = Silence(0.5)
    silence.came(7 * S, arrived_wall_ns=1000 * S, wall_ns=900 * S, steady_ns=50 * S)
    assert silence.due(50 * S, 1.0) == []


def test_time_goes_on_in_a_spin_and_until_the_loss_is_said() -> None:
    assert worth_ticking({"in_spin": True, "phase": "developed", "link": "lost"})
    assert worth_ticking({"in_spin": False, "phase": "dive", "link": "lost"})
    assert worth_ticking({"in_spin": False, "phase": "flight", "link": "ok"})
    assert not worth_ticking({"in_spin": False, "phase": "flight", "link": "lost"})
