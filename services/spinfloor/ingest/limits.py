"""How much a sortie's sources may send: a bucket of bytes that fills at a steady rate."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from spinfloor.ports.clock import Clock

DEFAULT_BYTES_PER_S: Final = 16 << 20  # some 50,000 frames a second as JSON: 500 aircraft's worth
DEFAULT_BURST_BYTES: Final = 64 << 20


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

    def wait_s(self, key: str, amount: float) -> float:
        """Seconds until `amount` fits; it is charged only when that is 0."""
        now = self.clock.steady_ns()
        bucket = self._buckets.setdefault(key, _Bucket(self.burst, now))
        bucket.level = min(self.burst, bucket.level + (now - bucket.at_ns) * 1e-9 * self.per_second)
        bucket.at_ns = now
        lacking = min(amount, self.burst) - bucket.level
        if lacking > 0.0:
            return lacking / self.per_second
        bucket.level -= amount
        self._forget_full()
        return 0.0

    def _forget_full(self) -> None:
        if len(self._buckets) > 1024:
            self._buckets = {k: b for k, b in self._buckets.items() if b.level < self.burst}
