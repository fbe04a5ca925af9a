"""Units as people write them in files, understood by pint; never guessed from values.

`g` is standard gravity here (no channel of ours is a mass), `mG` a thousandth of it.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Sequence
from typing import Any

_SIGNS = str.maketrans("²³⁻¹·ºμ", "23-1.°µ")
_POWER = re.compile(r"(?<=[A-Za-z])(-?[1-3])(?=$|[ ./*)])")  # m/s2, m s-2
_TIMES = re.compile(r"(?<=[A-Za-z0-9])\.(?=[A-Za-z])")  # m.s-2
_PLAIN = re.compile(r"[/%°]|^(deg|rad|mrad|ft|kts?|knots?|sec|ms|hpa|mbar|inhg|psf|pct)$", re.IGNORECASE)
_ALLOWED = re.compile(r"^[A-Za-z0-9_/*^%°µ. ()-]{1,24}$")
_LABEL = re.compile(r"^(?P<name>.+?)\s*[\[(](?P<unit>[^\])]{1,24})[\])]\s*$")
_WRITTEN = {
    "g": "standard_gravity",
    "gs": "standard_gravity",
    "gn": "standard_gravity",
    "mg": "millistandard_gravity",
    "pct": "percent",
    "percent": "percent",
    "kt": "knot",
    "kts": "knot",
    "knots": "knot",
    "kn": "knot",
    "kcas": "knot",
    "nm/h": "knot",
    "m": "meter",
    "m/s": "meter / second",
    "m/s2": "meter / second ** 2",
    "ft": "foot",
    "feet": "foot",
    "fps": "foot / second",
    "ft/sec": "foot / second",
    "fpm": "foot / minute",
    "ft/s2": "foot / second ** 2",
    "ft/sec2": "foot / second ** 2",
    "deg": "degree",
    "degs": "degree",
    "degrees": "degree",
    "deg/s": "degree / second",
    "deg/sec": "degree / second",
    "dps": "degree / second",
    "radians": "radian",
    "rad": "radian",
    "rad/s": "radian / second",
    "rad/sec": "radian / second",
    "radps": "radian / second",
    "rev/min": "revolutions_per_minute",
    "psf": "force_pound / foot ** 2",
    "lb/ft2": "force_pound / foot ** 2",
    "psia": "force_pound / inch ** 2",
    "inhg": "inch_Hg",
    "in hg": "inch_Hg",
    "mb": "millibar",
    "hpa": "hectopascal",
    "s": "second",
    "sec": "second",
    "secs": "second",
    "seconds": "second",
    "ms": "millisecond",
    "msec": "millisecond",
    "usec": "microsecond",
    "degc": "degree_Celsius",
    "1": "dimensionless",
    "": "dimensionless",
}
_ANGLES = {"degree", "radian", "turn", "arcminute", "arcsecond", "grade", "revolutions_per_minute"}


@functools.cache
def registry() -> Any:
    """The one unit registry (pint types are not exported in a way mypy can follow through the cache)."""
    import pint  # here, because most recordings state no unit, and every command would wait for it

    return pint.UnitRegistry(cache_folder=None)


@functools.lru_cache(maxsize=1024)
def parse_unit(text: str) -> Any | None:
    """The pint unit, or None when the text is no unit we know."""
    cleaned = text.strip().translate(_SIGNS)
    written = _WRITTEN.get(cleaned.lower())
    if written is not None:
        return registry().parse_units(written)
    # The pattern keeps pint's expression parser away from anything that is not a plain unit product.
    if not _ALLOWED.match(cleaned) or re.search(r"\d{2,}|\*\*\s*\d*\*\*", cleaned):
        return None
    cleaned = _TIMES.sub(" * ", _POWER.sub(r"^\1", cleaned))
    for candidate in (cleaned, cleaned.lower()):
        try:
            return registry().parse_units(candidate)
        except Exception:
            continue
    return None


def split_label(label: str) -> tuple[str, str]:
    """A label such as `P [deg/s]` or `P (deg/s)` as name and unit; the unit is empty where none is stated."""
    match = _LABEL.match(label)
    if match is None or not looks_like_unit(match["unit"]):
        return label, ""
    unit = match["unit"].strip()
    return match["name"], "" if unit == "-" else unit


def bare_name(label: str) -> str:
    """A label without what stands in brackets behind it, whatever that is."""
    match = _LABEL.match(label)
    return match["name"] if match else label


def is_units_row(cells: Sequence[str]) -> bool:
    """True when every cell may be a unit, or most are and one can be nothing else: P, R and t are units and names too."""
    texts = [c.strip().strip("[]()").strip() for c in cells]
    units = [t for t in texts if t not in ("", "-") and parse_unit(t) is not None]
    stated = sum(t not in ("", "-") for t in texts)
    return len(units) == stated or (2 * len(units) > stated and any(_PLAIN.search(t) for t in units))


def looks_like_unit(cell: str) -> bool:
    """True for a unit, a blank or a dash: what a units row may hold."""
    text = cell.strip().strip("[]()").strip()
    return text in ("", "-") or parse_unit(text) is not None


def is_angular(unit: Any) -> bool:
    """True when an angle is part of the unit: pint itself counts angles as plain numbers."""
    return any(
        str(name).removeprefix("centi").removeprefix("milli").removeprefix("micro") in _ANGLES for name in unit._units
    )


def factor_between(from_text: str, to_text: str) -> float | None:
    """What a value in the first unit is multiplied by to be in the second; None when they do not measure the same.

    Angles, plain ratios and frequencies are told apart although pint counts all of them as numbers.
    """
    source, target = parse_unit(from_text), parse_unit(to_text)
    if source is None or target is None or source.dimensionality != target.dimensionality:
        return None
    if is_angular(source) != is_angular(target):
        return None
    try:
        return float(registry().Quantity(1.0, source).to(target).magnitude)
    except Exception:
        return None
