"""What was read last, for while the archive can't be asked: a flight under way does not end with it."""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Awaitable, Callable
from typing import Final, Generic, TypeVar

from spinfloor.ports.errors import StorageError

KEPT: Final = 4096
ASK_AGAIN_S: Final = 2.0  # one that hangs is asked this often, by one caller, and not by all of them

K = TypeVar("K")
V = TypeVar("V")


class Remembered(Generic[K, V]):
    """The newest answers of one kind, by key."""

    def __init__(self) -> None:
        self._kept: OrderedDict[K, V] = OrderedDict()
        self._ask_at_s = 0.0  # steady clock; 0: the archive has answered last

    async def get(self, key: K, read: Callable[[], Awaitable[V]]) -> V:
        """What `read` gives; while the archive is away what it gave last. Raises what `read` does, StorageError if it never has."""
        now_s = time.monotonic()
        kept = self._kept.get(key)
        if kept is not None and now_s < self._ask_at_s:
            return kept
        if self._ask_at_s:
            self._ask_at_s = now_s + ASK_AGAIN_S
        try:
            value = await read()
        except StorageError:
            self._ask_at_s = time.monotonic() + ASK_AGAIN_S
            if kept is None:
                raise
            return kept
        self._ask_at_s = 0.0
        if value is None:
            self.forget(key)
        else:
            self.keep(key, value)
        return value

    def keep(self, key: K, value: V) -> None:
        """It was stored."""
        self._kept[key] = value
        self._kept.move_to_end(key)
        if len(self._kept) > KEPT:
            self._kept.popitem(last=False)

    def forget(self, key: K) -> None:
        """It is no more."""
        self._kept.pop(key, None)
