"""Arrays of a file as channels: a vector is one, a table of numbers one for each of its columns."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from spinfloor.adapters.recordings.recording import AnyArray, Notes

MOST_COLUMNS: Final = 256
UNIT_KEYS: Final = ("units", "unit", "Units", "Unit")  # what files call the unit of a channel


def vectors(name: str, values: AnyArray, notes: Notes) -> Iterator[tuple[str, AnyArray]]:
    """Name and values, shape (n,), of each channel; the longer side of a table is time. None of what holds no numbers."""
    if values.dtype.kind not in "fiub":
        return
    if values.ndim == 2 and 1 in values.shape:
        values = values.reshape(-1)
    if values.ndim == 1:
        yield name, np.ascontiguousarray(values)
    elif values.ndim == 2:
        long = values if values.shape[0] >= values.shape[1] else values.T
        for i in range(min(long.shape[1], MOST_COLUMNS)):
            yield f"{name}[{i}]", np.ascontiguousarray(long[:, i])
        if long.shape[1] > MOST_COLUMNS:
            notes.add(name, f"table of more than {MOST_COLUMNS} columns; the rest were left out")
