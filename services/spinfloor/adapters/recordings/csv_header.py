"""Finding out how a CSV file is laid out: delimiter, decimal sign, one or two header rows, a units row."""

from __future__ import annotations

import csv
import itertools
import re
from dataclasses import dataclass

from spinfloor.adapters.recordings.recording import RecordingError
from spinfloor.adapters.recordings.unit_text import is_units_row, split_label

_MISSING = {"", "nan", "null", "na", "n/a", "none", "-", "inf", "-inf", "+inf"}
_MAX_HEADER_ROWS = 3


@dataclass(frozen=True, slots=True)
class CsvLayout:
    """delimiter and decimal sign; header_lines: lines to skip; names: one per column; units: by name, where stated."""

    delimiter: str
    decimal_point: str
    header_lines: int
    names: tuple[str, ...]
    units: dict[str, str]


def find_layout(head: str, name: str) -> CsvLayout:
    """The layout from the first lines of the file.

    Header rows end at the first row that is mostly numbers. One row: names. Two rows: names and units when the
    second reads as units, else group and name. Three rows: group, name, units. A unit in brackets after a
    name counts as stated. Raises RecordingError when there is no header row or no number after it.
    """
    delimiter = _delimiter(head)
    decimal_point = "," if delimiter == ";" and re.search(r";-?\d+,\d", head) else "."
    rows = _first_rows(head, delimiter)
    count = _header_rows(rows, decimal_point)
    if count == 0 or count > _MAX_HEADER_ROWS:
        raise RecordingError(
            expected="a CSV file with one to three header rows (names, units) and then rows of numbers, or JSON",
            got=f"{name}, which starts {'with numbers and no names' if count == 0 else 'with text only'}",
            now="nothing could be read from it",
            path=name,
        )
    names, units = _names_and_units(rows[:count])
    return CsvLayout(delimiter, decimal_point, count, names, units)


def _first_rows(head: str, delimiter: str) -> list[list[str]]:
    try:
        reader = csv.reader(head.splitlines(), delimiter=delimiter, skipinitialspace=True)
        return list(itertools.islice(reader, _MAX_HEADER_ROWS + 1))
    except csv.Error:  # a cell of more than 128 kB: no header of any CSV file
        return []


def _delimiter(head: str) -> str:
    line = head.splitlines()[0] if head.splitlines() else ""
    return max((",", ";", "\t"), key=line.count)


def _is_number(cell: str, decimal_point: str) -> bool:
    text = cell.strip().replace(decimal_point, ".")
    try:
        float(text)
    except ValueError:
        return bool(re.match(r"^\d{4}-\d\d-\d\d[T ]", text))
    return True


def _header_rows(rows: list[list[str]], decimal_point: str) -> int:
    for i, row in enumerate(rows):
        filled = [c for c in row if c.strip().lower() not in _MISSING]
        numbers = sum(_is_number(c, decimal_point) for c in filled)
        if filled and numbers * 2 > len(filled):
            return i
    return len(rows) if len(rows) <= 1 else _MAX_HEADER_ROWS + 1


def _names_and_units(rows: list[list[str]]) -> tuple[tuple[str, ...], dict[str, str]]:
    units_row: list[str] = []
    if len(rows) > 1 and is_units_row(rows[-1]):
        units_row = [c.strip().strip("[]()").strip() for c in rows[-1]]
        rows = rows[:-1]
    joined = [_join(cells) for cells in _columns(rows)]
    names: list[str] = []
    units: dict[str, str] = {}
    for i, label in enumerate(joined):
        bare, bracketed = split_label(label)
        name = _unique(bare or f"column {i + 1}", names)
        below = units_row[i] if i < len(units_row) else ""
        if unit := below if below not in ("", "-") else bracketed:
            units[name] = unit
        names.append(name)
    return tuple(names), units


def _columns(rows: list[list[str]]) -> list[list[str]]:
    width = len(rows[-1])
    return [[row[i] if i < len(row) else "" for row in rows] for i in range(width)]


def _join(cells: list[str]) -> str:
    return ".".join(c.strip() for c in cells if c.strip())


def _unique(name: str, taken: list[str]) -> str:
    if name not in taken:
        return name
    n = 2
    while f"{name} ({n})" in taken:
        n += 1
    return f"{name} ({n})"
