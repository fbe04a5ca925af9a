"""Which form an answer is wanted in."""

from __future__ import annotations

from starlette.requests import Request

from spinfloor.adapters.exports import Format, accepted_format

EVENT_STREAM = "text/event-stream"


def wanted_format(request: Request, named: Format | None) -> Format:
    """`?format=` when given, else the Accept header, JSON when it takes anything. Raises ExportFormatError (406)."""
    return named or accepted_format(request.headers.get("accept", ""))


def wants_event_stream(request: Request) -> bool:
    """True when the Accept header names text/event-stream."""
    return EVENT_STREAM in request.headers.get("accept", "").lower()
