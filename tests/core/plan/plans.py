"""A good plan as plain data, to be spoilt field by field."""

from __future__ import annotations

import copy
from typing import Any

GOOD: dict[str, Any] = {
    "title": "Tessary trainer, build-up to three turns",
    "aircraft": {"name": "Tessary 2", "chute_fitted": True},
    "floors": {"recovery_ft": 6_000.0, "chute_ft": 5_000.0, "abandon_ft": 4_000.0},
    "cards": [
        {"id": "R1", "direction": "right", "turns": 1.0, "entry_altitude_ft": 12_000.0},
        {"id": "R3", "direction": "right", "turns": 3.0, "entry_altitude_ft": 13_000.0},
    ],
}


def good(**changes: Any) -> dict[str, Any]:
    """A deep copy with dotted fields changed: good(**{"floors.recovery_ft": 1.0}); ... removes one."""
    out = copy.deepcopy(GOOD)
    for path, value in changes.items():
        *parents, last = path.split(".")
        at: Any = out
        for name in parents:
            at = at[int(name)] if isinstance(at, list) else at.setdefault(name, {})
        if isinstance(at, list):
            at[int(last)] = value
        elif value is ...:
            del at[last]
        else:
            at[last] = value
    return out
