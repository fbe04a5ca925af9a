"""How long a sample of a slower channel is held, as far as the channel map says."""

from __future__ import annotations

from typing import Final

from spinfloor.core.plan.channel_map import MappedColumn

HOLD_PERIODS: Final = 1.25  # its own period and a quarter more, for jitter in the stamps
UNKNOWN_RATE_HOLD_NS: Final = 250_000_000  # on a link, until a channel has shown its rate


def stated_hold_ns(mapped: MappedColumn) -> int | None:
    """The age limit by `hold_s`, else by `rate_hz`; None when the map gives neither."""
    if mapped.hold_s is not None:
        return round(mapped.hold_s * 1e9)
    if mapped.rate_hz is not None:
        return round(HOLD_PERIODS * 1e9 / mapped.rate_hz)
    return None
