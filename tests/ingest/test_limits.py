"""The bucket: a burst at once, then no more than its rate; each key on its own."""

from spinfloor.ingest.limits import BUCKETS_KEPT, RateLimit


class Hand:
    """A clock moved by hand."""

    def __init__(self) -> None:
        self.now_ns = 0

    def steady_ns(self) -> int:
        return self.now_ns

    def wall_ns(self) -> int:
        return self.now_ns

    async def sleep(self, seconds: float) -> None:
        self.now_ns += int(seconds * 1e9)


def test_a_burst_then_the_rate() -> None:
    clock = Hand()
    limit = RateLimit(clock, per_second=10.0, burst=100.0)
    assert [limit.wait_s("a", 50.0) for _ in range(2)] == [0.0, 0.0]
    assert limit.wait_s("a", 50.0) == 5.0
    assert limit.wait_s("b", 50.0) == 0.0
    clock.now_ns += 5_000_000_000
    assert limit.wait_s("a", 50.0) == 0.0


def test_what_is_larger_than_the_burst_is_taken_when_the_bucket_is_full() -> None:
    clock = Hand()
    limit = RateLimit(clock, per_second=10.0, burst=100.0)
    assert limit.wait_s("a", 1000.0) == 0.0
    assert limit.wait_s("a", 1.0) > 0.0


def test_over_a_minute_no_more_than_the_rate_gets_through() -> None:
    clock = Hand()
    limit = RateLimit(clock, per_second=10.0, burst=20.0)
    taken = 0.0
    for _ in range(6000):
        clock.now_ns += 10_000_000
        if limit.wait_s("a", 1.0) == 0.0:
            taken += 1.0
    assert 600.0 - 1.0 <= taken <= 620.0 + 1.0


def test_keys_that_have_gone_quiet_are_forgotten_and_busy_ones_are_not() -> None:
    clock = Hand()
    limit = RateLimit(clock, per_second=1e6, burst=100.0)
    for n in range(10 * BUCKETS_KEPT):
        clock.now_ns += 1_000_000  # each has filled up again long before the next comes
        assert limit.wait_s(str(n), 50.0) == 0.0
    assert limit.kept <= BUCKETS_KEPT
    slow = RateLimit(clock, per_second=1e-3, burst=100.0)
    for n in range(3 * BUCKETS_KEPT):
        assert slow.wait_s(str(n), 100.0) == 0.0
    assert all(slow.wait_s(str(n), 1.0) > 0.0 for n in range(3 * BUCKETS_KEPT))
