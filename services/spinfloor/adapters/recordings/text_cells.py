"""Columns that arrive as text: numbers with odd cells among them, and clock times as recorders print them."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from spinfloor.adapters.recordings.recording import AnyArray, Column, Notes

# Time of day, with the day of the year before it as IRIG time is printed: 127:09:00:01.250
_CLOCK = re.compile(
    r"(?:(?P<day>\d{1,3}):)?(?P<hour>\d{1,2}):(?P<minute>[0-5]\d):(?P<second>[0-5]\d)(?:\.(?P<part>\d{1,9}))?"
)
_INT64 = range(-(2**63), 2**63)


def numbers_from_text(name: str, cells: Sequence[str | None], notes: Notes) -> Column | None:
    """Clock times as nanoseconds since the start of the day or year, else numbers with NaN for cells that are none.

    None (with a note) when no cell is a number: the column holds text.
    """
    filled = [c.strip() for c in cells if c is not None and c.strip()]
    if filled and _CLOCK.fullmatch(filled[0]):
        return Column(_clock_ns(name, cells, notes), "ns")
    if filled and all(re.fullmatch(r"[+-]?\d{1,19}", c) and int(c) in _INT64 for c in filled):
        whole = [int(c) if c is not None and c.strip() else None for c in cells]
        return Column(_masked([0 if w is None else w for w in whole], [w is None for w in whole]))
    out = np.full(len(cells), np.nan)
    bad = [i for i, cell in enumerate(cells) if not _put(out, i, cell)]
    if len(bad) == len(filled):
        notes.add(f"column {name}", "column holds text, not numbers, and was left out")
        return None
    if bad:
        what = f"cell(s) of {name} that are not numbers; read as missing"
        notes.add(f"column {name}, data row {bad[0] + 1}", what, len(bad))
    return Column(out)


def _put(out: AnyArray, i: int, cell: str | None) -> bool:
    if cell is None or not cell.strip():
        return True
    try:
        out[i] = float(cell)
    except ValueError:
        return False
    return True


def _clock_ns(name: str, cells: Sequence[str | None], notes: Notes) -> AnyArray:
    values, missing = [0] * len(cells), [True] * len(cells)
    bad: list[int] = []
    for i, cell in enumerate(cells):
        match = _CLOCK.fullmatch(cell.strip()) if cell else None
        if match is None:
            if cell and cell.strip():
                bad.append(i)
            continue
        values[i], missing[i] = _match_ns(match), False
    if bad:
        what = f"cell(s) of {name} that are not clock times; their rows were left out"
        notes.add(f"column {name}, data row {bad[0] + 1}", what, len(bad))
    return _masked(values, missing)


def _match_ns(match: re.Match[str]) -> int:
    days = max(int(match["day"] or 1) - 1, 0)
    seconds = ((days * 24 + int(match["hour"])) * 60 + int(match["minute"])) * 60 + int(match["second"])
    return seconds * 1_000_000_000 + int((match["part"] or "0").ljust(9, "0"))


def _masked(values: list[int], missing: list[bool]) -> AnyArray:
    plain = np.array(values, dtype=np.int64)
    return np.ma.masked_array(plain, mask=missing) if any(missing) else plain
