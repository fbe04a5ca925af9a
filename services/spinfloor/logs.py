"""Structured logs: one line per happening, JSON when nobody is at the terminal. No headers, no bodies, no secrets."""

from __future__ import annotations

import sys

import structlog


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
