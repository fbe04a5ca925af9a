"""The one writer: a thread that commits whatever has gathered, many small writes to one disk sync.

While a commit is under way new work gathers; the next commit takes it all, up to GROUP_BYTES, a piece from each key
in turn. So a write waits at most for the commit in progress and its own, and a flooding key can't hold up another.
"""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from collections import OrderedDict, deque
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

from spinfloor.adapters.sqlite.connection import connect, storage_error
from spinfloor.core.errors import SpinfloorError
from spinfloor.ports.errors import OverloadedError

T = TypeVar("T")

GROUP_BYTES: Final = 8 << 20  # a commit of this size takes some tens of milliseconds on an ordinary disk
PENDING_BYTES: Final = 16 << 20
PENDING_COUNT: Final = 1024
PROBE_BYTES: Final = 1024
_OVERHEAD: Final = 128  # bytes charged per piece of work beside its payload


@dataclass(slots=True)
class _Work:
    key: str
    size: int
    run: Callable[[sqlite3.Connection], Any]
    loop: asyncio.AbstractEventLoop
    future: asyncio.Future[Any]
    after_commit: Callable[[Any], None] | None


class Writer:
    """Runs functions on the writing connection, in the order of each key, committed before their result is known."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._waiting: OrderedDict[str, deque[_Work]] = OrderedDict()
        self._pending: dict[str, tuple[int, int]] = {}
        self._condition = threading.Condition()
        self._closing = False
        self._rollbacks: list[Callable[[], None]] = []
        self.commits = 0
        self.written = 0
        self.last_error: str | None = None
        self.failed_bytes = 0  # size of a commit that failed, until one as large has been made
        self._connection = connect(path)
        self._thread = threading.Thread(target=self._loop, name="sqlite-writer", daemon=True)

    def start(self) -> None:
        """Begin committing."""
        self._thread.start()

    def on_rollback(self, forget: Callable[[], None]) -> None:
        """`forget` is called on the writer's thread after a failed commit, to drop what was cached from it."""
        self._rollbacks.append(forget)

    @property
    def depth(self) -> int:
        """Pieces of work waiting or being committed, all keys together."""
        return sum(count for count, _ in self._pending.values())

    async def probe(self) -> None:
        """Write for the sake of writing, as much as the last commit that failed. Raises StorageError."""
        size = max(self.failed_bytes, PROBE_BYTES)

        def write(connection: sqlite3.Connection) -> None:
            connection.execute("INSERT OR REPLACE INTO probe VALUES (1, zeroblob(?))", (size,))

        await self.submit("probe", write, size=size)

    async def submit(
        self,
        key: str,
        run: Callable[[sqlite3.Connection], T],
        *,
        size: int = 0,
        bounded: bool = True,
        after_commit: Callable[[T], None] | None = None,
    ) -> T:
        """Run `run` in a transaction and return its result once it is on disk.

        `run` checks before it writes: a SpinfloorError it raises fails only itself. `after_commit` is called on the
        event loop, in commit order, before the result is. Raises OverloadedError when the key's share is full.
        """
        loop = asyncio.get_running_loop()
        work = _Work(key, size + _OVERHEAD, run, loop, loop.create_future(), after_commit)
        with self._condition:
            if self._closing:
                raise storage_error(RuntimeError("the store is closing"))
            count, pending = self._pending.get(key, (0, 0))
            if bounded and count and (count >= PENDING_COUNT or pending + size > PENDING_BYTES):
                raise OverloadedError(
                    expected=f"at most {PENDING_COUNT} batches or {PENDING_BYTES >> 20} MiB waiting for the disk",
                    got=f"{count} waiting",
                    now="this batch was not taken; keep it and send it again",
                )
            self._pending[key] = (count + 1, pending + work.size)
            self._waiting.setdefault(key, deque()).append(work)
            self._condition.notify()
        result: T = await asyncio.shield(work.future)
        return result

    def _take(self) -> list[_Work]:
        """A group: one piece from each key in turn until the group is full. Empty: closing and nothing left."""
        with self._condition:
            while not self._waiting and not self._closing:
                self._condition.wait()
            group: list[_Work] = []
            size = 0
            while self._waiting and size < GROUP_BYTES:
                key, works = self._waiting.popitem(last=False)
                work = works.popleft()
                if works:
                    self._waiting[key] = works
                group.append(work)
                size += work.size
            return group

    def _loop(self) -> None:
        while group := self._take():
            outcomes = self._commit(group)
            with self._condition:
                for work in group:
                    self._settle(work)
            by_loop: dict[asyncio.AbstractEventLoop, list[tuple[_Work, Any]]] = {}
            for work, outcome in zip(group, outcomes, strict=True):
                by_loop.setdefault(work.loop, []).append((work, outcome))
            for loop, pairs in by_loop.items():
                if not loop.is_closed():
                    loop.call_soon_threadsafe(_deliver, pairs)
        self._connection.close()

    def _settle(self, work: _Work) -> None:
        count, pending = self._pending[work.key]
        if count == 1:
            del self._pending[work.key]
        else:
            self._pending[work.key] = (count - 1, pending - work.size)

    def _commit(self, group: list[_Work]) -> list[Any]:
        outcomes: list[Any] = []
        size = sum(work.size for work in group)
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            for work in group:
                try:
                    outcomes.append(work.run(self._connection))
                except SpinfloorError as exc:
                    outcomes.append(exc)
            self._connection.execute("COMMIT")
        # Whatever goes wrong in here, a driver error or a defect, nothing of the group may be acknowledged.
        except Exception as exc:
            self._undo()
            self.last_error = str(exc)
            self.failed_bytes = size
            return [storage_error(exc)] * len(group)
        self.last_error = None
        if size >= self.failed_bytes:
            self.failed_bytes = 0
        self.commits += 1
        self.written += len(group)
        return outcomes

    def _undo(self) -> None:
        if self._connection.in_transaction:
            try:
                self._connection.execute("ROLLBACK")
            except sqlite3.Error as exc:
                self.last_error = str(exc)
        for forget in self._rollbacks:
            forget()

    def close(self) -> None:
        """Commit what waits, then end the thread."""
        with self._condition:
            self._closing = True
            self._condition.notify()
        if self._thread.is_alive():
            self._thread.join()


def _deliver(pairs: list[tuple[_Work, Any]]) -> None:
    for work, outcome in pairs:
        failed = isinstance(outcome, Exception)
        if not failed and work.after_commit is not None:
            work.after_commit(outcome)
        if work.future.cancelled():
            continue
        if failed:
            work.future.set_exception(outcome)
            work.future.exception()  # the caller may be gone (cancelled); then nobody else looks at it
        else:
            work.future.set_result(outcome)
