"""The event loop of a serving process, and how seldom it stops to look for garbage."""

from __future__ import annotations

import asyncio
import gc
from collections.abc import Callable, Coroutine
from typing import Any, Final

COLLECT_EVERY: Final = 20_000  # objects more than before; the default, 700, is reached several times a second


def _loop_factory() -> Callable[[], asyncio.AbstractEventLoop]:
    try:
        import uvloop
    except ImportError:  # there is none for this system; the standard loop does the same at twice the cost per message
        return asyncio.new_event_loop
    return uvloop.new_event_loop


def run(main: Coroutine[Any, Any, None]) -> None:
    """As `asyncio.run`, on the quickest loop there is."""
    gc.set_threshold(COLLECT_EVERY, 10, 10)
    with asyncio.Runner(loop_factory=_loop_factory()) as runner:
        runner.run(main)


async def settle(ready: asyncio.Event) -> None:
    """Once the service is ready: what is loaded by then stays, and is not searched for garbage again and again.

    Hundreds of thousands of objects of the libraries; each search of them takes a tenth of a second, in which no call is
    issued, and comes the more often the more packets wait.
    """
    await ready.wait()
    gc.collect()
    gc.freeze()
