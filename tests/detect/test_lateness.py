"""Frames that come later than they did are late, whatever the two clocks say; a clock that is set is none of it."""

from spinfloor.detect.lateness import REMEMBERED_NS, Lateness

S = 1_000_000_000
OTHER_CLOCK = 12_345 * S  # arrivals are on another clock than the source's


def after(*frames: tuple[float, float]) -> Lateness:
    """(time stamp, seconds on the way) of each frame."""
    lateness = Lateness()
    for stamp_s, way_s in frames:
        lateness.came(int(stamp_s * S), OTHER_CLOCK + int((stamp_s + way_s) * S))
    return lateness


def test_a_link_as_quick_as_ever_is_not_late_however_long_it_takes() -> None:
    assert after((1.0, 0.4), (2.0, 0.4), (3.0, 0.4)).late_ns == 0


def test_a_link_that_falls_behind_is_late_by_the_difference() -> None:
    assert after((1.0, 0.1), (2.0, 1.6), (3.0, 1.6)).late_ns == int(1.5 * S)


def test_what_is_sent_again_after_a_break_is_late_until_it_has_caught_up() -> None:
    caught_up = [(1.0, 0.1), (2.0, 20.1), (12.0, 10.1), (22.0, 0.1)]
    assert [after(*caught_up[:n]).late_ns for n in (2, 3, 4)] == [20 * S, 10 * S, 0]


def test_the_measure_is_the_best_of_the_last_minutes() -> None:
    minutes = REMEMBERED_NS / S
    drifted = [(1.0, 0.1), (minutes, 0.5), (2 * minutes, 0.5), (3.1 * minutes, 0.5)]
    assert after(*drifted[:2]).late_ns == int(0.4 * S)
    assert after(*drifted).late_ns == 0


def test_a_source_whose_clock_is_set_back_begins_anew() -> None:
    assert after((100.0, 0.1), (101.0, 0.1), (41.0, 60.1), (42.0, 60.1)).late_ns == 0


def test_one_wild_time_stamp_makes_nothing_late() -> None:
    assert after((1.0, 0.1), (9_000.0, -8_998.0), (2.0, 0.1), (3.0, 0.1)).late_ns == 0


def test_frames_slightly_out_of_order_keep_the_measure() -> None:
    assert after((1.0, 0.1), (2.0, 0.1), (1.9, 0.9)).late_ns == int(0.8 * S)


def test_after_a_restart_the_measure_of_before_counts() -> None:
    lateness = Lateness()
    lateness.came(5 * S, 65 * S)
    lateness.remember(10 * S, 65 * S)
    lateness.came(6 * S, 66 * S)
    assert lateness.late_ns == 50 * S
