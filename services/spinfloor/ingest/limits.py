"""How much a sortie's sources may send: a bucket of bytes that fills at a steady rate."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from spinfloor.ports.clock import Clock

DEFAULT_BYTES_PER_S: Final = 16 << 20  # some 50,000 frames a second as JSON: 500 aircraft's worth
DEFAULT_BURST_BYTES: Final = 64 << 20
BUCKETS_KEPT: Final = 1024


@dataclass(slots=True)
class _Bucket:
    level: float
    at_ns: int


@dataclass(slots=True)
class RateLimit:
    """One bucket per key. `wait_s` charges what came and says how long the sender has to pause (0: not at all)."""

    clock: Clock
    per_second: float = DEFAULT_BYTES_PER_S
    burst: float = DEFAULT_BURST_BYTES
    _buckets: dict[str, _Bucket] = field(default_factory=dict)
    _sweep_at: int = BUCKETS_KEPT

    @property
    def kept(self) -> int:
        """Buckets in memory."""
        return len(self._buckets)

    def wait_s(self, key: str, amount: float) -> float:
        """Seconds until `amount` fits; it is charged only when that is 0."""
        now = self.clock.steady_ns()
        bucket = self._buckets.get(key)
        if bucket is None:
            self._make_room(now)
            bucket = self._buckets[key] = _Bucket(self.burst, now)
        bucket.level, bucket.at_ns = self._level(bucket, now), now
        lacking = min(amount, self.burst) - bucket.level
        if lacking > 0.0:
            return lacking / self.per_second
        bucket.level -= amount
        return 0.0

    def _level(self, bucket: _Bucket, now: int) -> float:
        return min(self.burst, bucket.level + (now - bucket.at_ns) * 1e-9 * self.per_second)

    def _make_room(self, now: int) -> None:
        """A bucket that has filled up again is as good as a new one; looked for each time their number has doubled."""
        if len(self._buckets) >= self._sweep_at:
            self._buckets = {k: b for k, b in self._buckets.items() if self._level(b, now) < self.burst}
            self._sweep_at = max(BUCKETS_KEPT, 2 * len(self._buckets))
