"""The event loop of a serving process."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any


def _loop_factory() -> Callable[[], asyncio.AbstractEventLoop]:
    try:
        import uvloop
    except ImportError:  # there is none for this system; the standard loop does the same at twice the cost per message
        return asyncio.new_event_loop
    return uvloop.new_event_loop


def run(main: Coroutine[Any, Any, None]) -> None:
    """As `asyncio.run`, on the quickest loop there is."""
    with asyncio.Runner(loop_factory=_loop_factory()) as runner:
        runner.run(main)
