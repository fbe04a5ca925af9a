"""Waiting for something that sends no event of ours: another process, a store, a service asked over HTTP."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from typing import TypeVar

from spinfloor.ports.errors import StorageError

T = TypeVar("T")
PAUSE_S = 0.01
LONGEST_PAUSE_S = 0.05
LEAST_S = 60.0  # what comes in a moment is given a minute: other work may share the cores


def wait_for(look: Callable[[], T], *, seconds: float, what: str) -> T:
    """The first true value of `look`, asked again and again. Raises TimeoutError saying what did not come."""
    seconds, pause_s = max(seconds, LEAST_S), PAUSE_S
    end = time.monotonic() + seconds
    while not (found := look()):
        if time.monotonic() > end:
            raise TimeoutError(f"{what} did not come within {seconds:g} s")
        time.sleep(pause_s)
        pause_s = min(2.0 * pause_s, LONGEST_PAUSE_S)
    return found


async def until(look: Callable[[], Awaitable[T]], *, seconds: float = 20.0, what: str) -> T:
    """`wait_for` on an event loop."""
    seconds = max(seconds, LEAST_S)
    end = time.monotonic() + seconds
    while not (found := await look()):
        if time.monotonic() > end:
            raise TimeoutError(f"{what} did not come within {seconds:g} s")
        await asyncio.sleep(PAUSE_S)
    return found


async def insist(action: Callable[[], Awaitable[T]], *, seconds: float = 30.0) -> T:
    """Do it again while the store says that it can't now, as a sender does."""
    seconds = max(seconds, LEAST_S)
    end = time.monotonic() + seconds
    while True:
        try:
            return await action()
        except StorageError:
            assert time.monotonic() < end, f"still no answer after {seconds:g} s"
            await asyncio.sleep(0.02)
