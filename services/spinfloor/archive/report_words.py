"""Numbers and times as the report writes them."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any


def num(value: Any, digits: int = 0) -> str:
    """A number with thousands separated, "not known" for none."""
    if not isinstance(value, int | float) or isinstance(value, bool) or value != value:
        return "not known"
    return f"{round(float(value), digits) + 0.0:,.{digits}f}"


def stamp(time_ns: Any, *, millis: bool = False) -> str:
    """A time in UTC."""
    if not isinstance(time_ns, int):
        return "not known"
    whole, rest = divmod(time_ns, 1_000_000_000)
    moment = datetime.fromtimestamp(whole, UTC)
    return f"{moment:%H:%M:%S}.{rest // 1_000_000:03d}" if millis else f"{moment:%Y-%m-%d %H:%M:%S} UTC"
