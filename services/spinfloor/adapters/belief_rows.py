"""A version of an aircraft's beliefs as a row of a database, the same for every database that keeps them."""

from __future__ import annotations

from typing import Any, Final

import orjson

from spinfloor.ports.beliefs import StoredBeliefs

COLUMNS: Final = "aircraft, version, created_ns, beliefs, cause"


def stored_beliefs(row: Any) -> StoredBeliefs:
    """The version in a row of COLUMNS; its JSON may be text or bytes."""
    aircraft, version, created_ns, beliefs, cause = row
    return StoredBeliefs(aircraft, version, created_ns, orjson.loads(beliefs), orjson.loads(cause))
