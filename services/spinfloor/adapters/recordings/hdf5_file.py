"""HDF5 recordings, MATLAB v7.3 files among them: every numeric vector is a channel, its folder is its table.

The C library under h5py can crash on damaged metadata, which no Python code can catch, so it works in a child process.
Units come from a `units` or `unit` attribute (the climate-and-forecast habit), never from the values.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from spinfloor.adapters.recordings.in_child import CHILD
from spinfloor.adapters.recordings.recording import Column, Notes, RecordingError, Source, Table
from spinfloor.adapters.recordings.vectors import UNIT_KEYS, vectors

SIGNATURE = b"\x89HDF\r\n\x1a\n"
_MOST_DATASETS = 5_000
_MOST_VALUES = 100_000_000


def read_hdf5(path: Path) -> Source:
    """One table per group and vector length. Raises RecordingError when the file cannot be opened at all."""
    return CHILD.read(read_here, path)


def read_here(path: Path) -> Source:
    """The same in this process."""
    try:
        import h5py
    except ImportError as error:
        raise RecordingError(
            expected="the optional part `formats`, which reads HDF5",
            got=f"{path.name} and an installation without it",
            now="nothing was read; install spinfloor[formats]",
            path=path.name,
        ) from error
    notes = Notes()
    try:
        file = h5py.File(path, "r")
    except (OSError, RuntimeError, ValueError, KeyError) as error:
        raise RecordingError(
            expected="a whole HDF5 file",
            got=f"{path.name}, which is damaged or cut short ({path.stat().st_size} bytes)",
            now="nothing could be read from it",
            path=path.name,
        ) from error
    with file:
        tables = _tables(file, h5py, notes)
    form = "matlab v7.3" if _is_matlab(path) else "hdf5"
    if not tables:
        raise RecordingError(
            expected="an HDF5 file with vectors of numbers",
            got=f"{path.name}, which has none that can be read",
            now="nothing was read",
            path=path.name,
        )
    return Source(form, tables, notes, {"tables": len(tables)})


def _is_matlab(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(6) == b"MATLAB"


def _tables(file: Any, h5py: Any, notes: Notes) -> tuple[Table, ...]:
    found: dict[tuple[str, int], dict[str, Column]] = {}
    for i, (folder, name, dataset) in enumerate(_datasets(file, h5py, "", notes, depth=0)):
        if i >= _MOST_DATASETS:
            notes.add(f"{folder}/{name}", f"more than {_MOST_DATASETS} datasets; the rest were left out")
            break
        for part, column in _columns(f"{folder}/{name}", name, dataset, notes):
            found.setdefault((folder, len(column.values)), {})[part] = column
    many = {folder for folder, _ in found if sum(f == folder for f, _ in found) > 1}
    return tuple(
        Table((f"{folder or 'root'}[{n}]" if folder in many else folder or "root"), columns)
        for (folder, n), columns in found.items()
        if n > 0
    )


def _datasets(group: Any, h5py: Any, folder: str, notes: Notes, depth: int) -> Iterator[tuple[str, str, Any]]:
    if depth > 16:
        notes.add(folder, "nested too deeply; left out")
        return
    for name in _keys(group, folder, notes):
        if isinstance(name, bytes):  # a damaged name that is no text
            notes.add(folder, "a name that is not text; left out")
            continue
        if name.startswith("#"):  # where MATLAB keeps the targets of its references
            continue
        try:
            item = group[name]
        except (KeyError, OSError, RuntimeError, ValueError):
            notes.add(f"{folder}/{name}", "cannot be opened; left out")
            continue
        if isinstance(item, h5py.Group):
            yield from _datasets(item, h5py, f"{folder}/{name}".strip("/"), notes, depth + 1)
        elif isinstance(item, h5py.Dataset):
            yield folder, name, item


def _keys(group: Any, folder: str, notes: Notes) -> list[str | bytes]:
    try:
        return list(group)
    except (OSError, RuntimeError, ValueError, KeyError):
        notes.add(folder or "root", "its list of contents is damaged; left out")
        return []


def _columns(where: str, name: str, dataset: Any, notes: Notes) -> Iterator[tuple[str, Column]]:
    try:
        unit = _unit(dataset)
        if dataset.size > _MOST_VALUES:
            notes.add(where, f"more than {_MOST_VALUES} values; left out")
            return
        data = dataset[()]
    except (OSError, RuntimeError, ValueError, KeyError, TypeError, MemoryError):
        notes.add(where, "its values are damaged; left out")
        return
    values = np.asarray(data)
    for field in values.dtype.names or ():
        for part, vector in vectors(f"{name}.{field}", values[field], notes):
            yield part, Column(vector)
    for part, vector in vectors(name, values, notes):
        yield part, Column(vector, unit)


def _unit(dataset: Any) -> str | None:
    for key in UNIT_KEYS:
        if key in dataset.attrs:
            text = dataset.attrs[key]
            if isinstance(text, np.ndarray):
                text = text.reshape(-1)[0] if text.size else ""
            return (text.decode("utf-8", "replace") if isinstance(text, bytes) else str(text)).strip() or None
    return None
