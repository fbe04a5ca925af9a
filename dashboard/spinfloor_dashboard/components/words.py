"""Numbers and times as the pages write them: one way each, in words where nothing is known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Final

UNKNOWN: Final = "not known"
MINUS: Final = "\N{MINUS SIGN}"
UNITS: Final = ("ns", "dps", "ft", "deg", "kt", "g", "pct")


def known(value: Any) -> bool:
    """Whether `value` is a number that means something (JSON null and NaN do not)."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def number(value: Any, digits: int = 0, unit: str = "", *, sign: bool = False, unknown: str = UNKNOWN) -> str:
    """`value` with thousands separated and its unit, e.g. number(12345.6, 0, "ft") -> "12,346 ft"."""
    if not known(value):
        return unknown
    rounded = round(float(value), digits)
    text = f"{rounded + 0.0:{'+' if sign else ''},.{digits}f}".replace("-", MINUS)
    return f"{text} {unit}" if unit else text


def feet(value: Any, *, sign: bool = False) -> str:
    """Whole feet with the unit."""
    return number(value, 0, "ft", sign=sign)


def turns(value: Any) -> str:
    """Turns to a hundredth, which is what a rule's limit is compared with."""
    return number(value, 2)


def loss(row: Mapping[str, Any]) -> str:
    """What a spin cost down to level flight, in feet; said so where only the loss down to its end is known."""
    return number(row["loss_ft"]) + (" to its end" if known(row["loss_ft"]) and not levelled(row) else "")


def levelled(row: Mapping[str, Any]) -> bool:
    """Whether level flight after the spin was seen."""
    return known(row.get("level_altitude_ft"))


def clock(time_ns: Any, *, millis: bool = False) -> str:
    """Time of day in UTC, to the second or the millisecond."""
    if not known(time_ns):
        return UNKNOWN
    whole, rest = divmod(int(time_ns), 1_000_000_000)
    text = datetime.fromtimestamp(whole, UTC).strftime("%H:%M:%S")
    return f"{text}.{rest // 1_000_000:03d}" if millis else text


def day(time_ns: Any) -> str:
    """Date in UTC."""
    return (
        datetime.fromtimestamp(int(time_ns) // 1_000_000_000, UTC).strftime("%Y-%m-%d") if known(time_ns) else UNKNOWN
    )


def spin_name(spin: dict[str, Any]) -> str:
    """'upright right, steep' from what is known of a spin."""
    first = " ".join(str(spin[name]) for name in ("orientation", "direction") if spin.get(name))
    parts = [part for part in (first, spin.get("mode"), "oscillatory" if spin.get("oscillatory") else None) if part]
    return ", ".join(str(part) for part in parts) or "kind not known"


def channel(name: Any) -> str:
    """A column of the contract in words, without its unit: 'yaw_rate_dps' is 'yaw rate'."""
    *words, last = str(name).split("_")
    return " ".join(words if words and last in UNITS else [*words, last])


def plural(count: int, one: str, many: str | None = None) -> str:
    """'1 spin', '2 spins'."""
    return f"{count:,} {one if count == 1 else (many or one + 's')}"
