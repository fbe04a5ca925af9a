"""Which form an answer is wanted in."""

from __future__ import annotations

from starlette.requests import Request

from spinfloor.adapters.exports import Format, accepted_format, accepted_or

EVENT_STREAM = "text/event-stream"


def wanted_format(request: Request, named: Format | None) -> Format:
    """`?format=` when given, else the Accept header, JSON when it takes anything. Raises ExportFormatError (406)."""
    return named or accepted_format(request.headers.get("accept", ""))


def wanted_format_or_stream(request: Request, named: Format | None) -> Format | None:
    """The same; None when the Accept header asks for text/event-stream before any of them."""
    return named or accepted_or(EVENT_STREAM, request.headers.get("accept", ""))
