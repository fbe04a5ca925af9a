"""Query parameters: moments (nanoseconds UTC, or a date and time as ISO 8601 has it), and what an empty one means."""

from __future__ import annotations

import re
from typing import Annotated, Any, Final

from fastapi import Query
from pydantic import BeforeValidator

from spinfloor.core.plan.channel_map import parse_instant_ns

EARLIEST: Final = 0
LATEST: Final = 2**62 - 1
_NANOSECONDS: Final = re.compile(r"[+-]?\d{1,40}")
_SPACE_FOR_PLUS: Final = re.compile(r"(T\S+) (\d\d:?\d\d)")  # what an address makes of a + that is not escaped


def _instant_ns(text: Any) -> Any:
    """Nanoseconds within what the journal can hold, because beyond it there are no frames. Raises ValueError."""
    if not isinstance(text, str) or not text:
        return text or None
    if _NANOSECONDS.fullmatch(text):
        return min(max(int(text), EARLIEST), LATEST)
    try:
        return min(max(parse_instant_ns(_SPACE_FOR_PLUS.sub(r"\1+\2", text.strip())), EARLIEST), LATEST)
    except ValueError as exc:
        raise ValueError("whole nanoseconds UTC or an instant such as 2030-05-07T09:00:00Z") from exc


def _unless_empty(text: Any) -> Any:
    return None if text == "" else text


EMPTY_IS_NONE: Final = BeforeValidator(_unless_empty)  # `?max_points=` asks for none

_SCHEMA: Final[dict[str, Any]] = {"anyOf": [{"type": "integer"}, {"type": "string", "format": "date-time"}]}
_FORM: Final = "nanoseconds UTC, or ISO 8601 such as 2030-05-07T09:00:00Z"

From = Annotated[
    int | None,
    BeforeValidator(_instant_ns),
    Query(alias="from", description=f"the first moment: {_FORM}", json_schema_extra=_SCHEMA),
]
To = Annotated[
    int | None,
    BeforeValidator(_instant_ns),
    Query(alias="to", description=f"the moment behind the last: {_FORM}", json_schema_extra=_SCHEMA),
]
