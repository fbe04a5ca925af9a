"""Structured logs: one line per happening, JSON when nobody is at the terminal. No headers, no bodies, no secrets."""

from __future__ import annotations

import logging
import sys
from typing import Final

import structlog

# uvicorn says so of every WebSocket that is refused with an answer, which is no error.
_REFUSED_SOCKET: Final = "ASGI callable returned without completing handshake."


def set_up_logs(*, least: str = "info") -> None:
    """Write what is of this level or above to standard error, with time and level."""
    pretty = sys.stderr.isatty()
    # Plain tracebacks: the kind that shows local variables would show secrets, and takes seconds in the event loop.
    console = structlog.dev.ConsoleRenderer(exception_formatter=structlog.dev.plain_traceback)
    renderer = console if pretty else structlog.processors.JSONRenderer()
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.StackInfoRenderer(),
            *([] if pretty else [structlog.processors.format_exc_info]),
            renderer,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(least),
        logger_factory=structlog.PrintLoggerFactory(file=sys.stderr),
        cache_logger_on_first_use=True,
    )
    logging.basicConfig(handlers=[_Forwarded()], level=logging.WARNING, force=True)
    logging.captureWarnings(True)


class _Forwarded(logging.Handler):
    """What libraries log, warnings among it, in the same form."""

    def emit(self, record: logging.LogRecord) -> None:
        message = record.getMessage().strip()
        if message != _REFUSED_SOCKET:
            structlog.get_logger(record.name).log(record.levelno, message, exc_info=record.exc_info or None)
