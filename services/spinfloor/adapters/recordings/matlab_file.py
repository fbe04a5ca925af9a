"""MATLAB version 5 files: numeric vectors, and structs of them; v7.3 files are HDF5 and go to that reader.

A struct with `data` (or `values`) and `units` is a channel with its unit, as logging tools write them. The compiled
part of the library can crash on a damaged variable, so it works in a child process.
"""

from __future__ import annotations

import io
import struct
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from spinfloor.adapters.recordings.in_child import CHILD
from spinfloor.adapters.recordings.recording import Column, Notes, RecordingError, Source, Table
from spinfloor.adapters.recordings.vectors import UNIT_KEYS, vectors

SIGNATURE = b"MATLAB 5.0"
_HEADER_BYTES = 128
_MATRIX = 14
_COMPRESSED = 15
_VALUES = ("data", "values", "Data", "Values")


def read_matlab(path: Path) -> Source:
    """One table per struct (and one for the loose vectors) and vector length.

    Damaged variables are left out with a note; RecordingError when no vector is left, or the library crashes.
    """
    return CHILD.read(read_here, path)


def read_here(path: Path) -> Source:
    """The same in this process."""
    notes = Notes()
    variables = _variables(path, notes)
    found: dict[tuple[str, int], dict[str, Column]] = {}
    for name, value in variables.items():
        for folder, part, column in _walk("root", name, value, notes, depth=0):
            found.setdefault((folder, len(column.values)), {})[part] = column
    tables = tuple(Table(f if n == _longest(found, f) else f"{f}[{n}]", c) for (f, n), c in found.items() if n > 1)
    if not tables:
        raise RecordingError(
            expected="a MATLAB file with vectors of numbers",
            got=f"{path.name}, which has none that can be read",
            now="nothing was read",
            path=path.name,
        )
    return Source("matlab v5", tables, notes, {"variables": len(variables)})


def _longest(found: dict[tuple[str, int], dict[str, Column]], folder: str) -> int:
    return max(n for f, n in found if f == folder)


def _variables(path: Path, notes: Notes) -> dict[str, Any]:
    """Each top-level element is read as a file of its own, so that a damaged one costs only itself."""
    data = path.read_bytes()
    order = "<" if data[126:128] == b"IM" else ">"
    out: dict[str, Any] = {}
    at = _HEADER_BYTES
    while at + 8 <= len(data):
        kind, size = struct.unpack_from(order + "II", data, at)
        end = at + 8 + size
        if kind not in (_MATRIX, _COMPRESSED):
            notes.add(f"byte {at}", f"element of unknown type {kind}; it and what follows were left out")
            break
        if end > len(data):
            notes.add(f"byte {at}", "variable is cut short by the end of the file; left out")
            break
        out.update(_one(data[:_HEADER_BYTES] + data[at:end], at, notes))
        at = end if kind == _COMPRESSED else end + (-end % 8)
    return out


def _one(data: bytes, at: int, notes: Notes) -> dict[str, Any]:
    import scipy.io  # here, because it takes every command a quarter of a second and few recordings are MATLAB's

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            read = scipy.io.loadmat(io.BytesIO(data), squeeze_me=True, struct_as_record=True)
    except Exception:
        notes.add(f"byte {at}", "variable is damaged; left out")
        return {}
    return {k: v for k, v in read.items() if not k.startswith("__")}


def _walk(folder: str, name: str, value: Any, notes: Notes, depth: int) -> Iterator[tuple[str, str, Column]]:
    """Vectors below a variable; a struct is a folder, unless it is one channel with its unit."""
    if not isinstance(value, np.ndarray | np.void) or depth > 8:
        return
    if value.dtype.names:
        yield from _struct(folder, name, value, notes, depth)
    elif isinstance(value, np.ndarray):
        for part, vector in vectors(name, value, notes):
            yield folder, part, Column(vector)


def _struct(folder: str, name: str, value: Any, notes: Notes, depth: int) -> Iterator[tuple[str, str, Column]]:
    record = value.reshape(-1)[0] if isinstance(value, np.ndarray) and value.size == 1 else value
    if isinstance(record, np.ndarray):
        return
    names = record.dtype.names or ()
    data = next((n for n in _VALUES if n in names), None)
    units = next((n for n in UNIT_KEYS if n in names), None)
    if data is not None and isinstance(_inner(record[data]), np.ndarray):
        unit = str(_inner(record[units])).strip() if units is not None else ""
        for part, vector in vectors(name, _inner(record[data]), notes):
            yield folder, part, Column(vector, unit or None)
        return
    below = name if folder == "root" else f"{folder}/{name}"
    for part in names:
        yield from _walk(below, part, _inner(record[part]), notes, depth + 1)


def _inner(value: Any) -> Any:
    """What an object cell holds (scipy wraps struct fields in zero-dimensional object arrays)."""
    while isinstance(value, np.ndarray) and value.dtype == object and value.size == 1:
        value = value.reshape(-1)[0]
    return value
