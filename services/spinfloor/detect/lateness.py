"""Whether frames come later than they did: a link that has fallen behind looks as quick as ever by its arrivals alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

REMEMBERED_NS: Final = (
    300_000_000_000  # the best of the last 5 to 10 min is the measure: clocks drift apart by less meanwhile
)
SET_BACK_NS: Final = (
    1_000_000_000  # time stamps this much before the newest: the source's clock was set, or one stamp was wild
)


@dataclass(slots=True)
class Lateness:
    """Arrival minus time stamp, against the least of the last minutes. The two clocks need not agree.

    Any steady clock will do for arrivals, as long as it is one. All in ns.
    """

    late_ns: int = 0
    _least_ns: int | None = None  # of this stretch of REMEMBERED_NS
    _before_ns: int | None = None  # of the stretch before
    _since_ns: int = 0
    _newest_ns: int | None = None

    def came(self, frame_ns: int, arrived_ns: int) -> None:
        """The newest frame of a batch came."""
        if self._newest_ns is not None and frame_ns < self._newest_ns - SET_BACK_NS:
            self._least_ns = self._before_ns = None
        self._newest_ns = frame_ns
        lag = arrived_ns - frame_ns
        if self._least_ns is None or arrived_ns - self._since_ns > REMEMBERED_NS:
            self._before_ns, self._least_ns, self._since_ns = self._least_ns, lag, arrived_ns
        self._least_ns = min(self._least_ns, lag)
        self.late_ns = lag - self.least_ns

    @property
    def least_ns(self) -> int:
        """The measure; 0 before the first frame."""
        return min((lag for lag in (self._least_ns, self._before_ns) if lag is not None), default=0)

    def remember(self, least_ns: int, arrived_ns: int) -> None:
        """The measure from before a restart, on the clock of now."""
        self._least_ns, self._since_ns = least_ns, arrived_ns
