"""Waiting for something in another process, with a limit and a name for the failure."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from typing import TypeVar

from spinfloor.ports.errors import StorageError

T = TypeVar("T")


async def until(condition: Callable[[], Awaitable[bool]], *, limit_s: float = 20.0, what: str) -> None:
    """Look again and again; AssertionError naming `what` when it doesn't come true in time."""
    deadline = time.monotonic() + limit_s
    while not await condition():  # another process can't set an event of ours
        assert time.monotonic() < deadline, f"{what} did not happen within {limit_s} s"
        await asyncio.sleep(0.01)


async def insist(action: Callable[[], Awaitable[T]], *, limit_s: float = 30.0) -> T:
    """Do it again while the store says that it can't now, as a sender does."""
    deadline = time.monotonic() + limit_s
    while True:
        try:
            return await action()
        except StorageError:
            assert time.monotonic() < deadline, f"still no answer after {limit_s} s"
            await asyncio.sleep(0.02)
