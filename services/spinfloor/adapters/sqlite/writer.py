"""The one writer: a thread that commits whatever has gathered, many small writes to one disk sync.

While a commit is under way new work gathers; the next commit takes it all, up to GROUP_BYTES, a piece from each key
in turn. A write that comes alone is committed at once, many share: commits begin at least SPACING_S apart, and so that
they take a third of the time, SPACING_MOST_S apart at most. So a write waits at most for the commit in progress, the
spacing and its own, and a flooding key can't hold up another.
"""

from __future__ import annotations

import asyncio
import sqlite3
import threading
import time
from collections import Counter, OrderedDict, deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TypeVar

from spinfloor.adapters.sqlite.connection import connect, storage_error
from spinfloor.adapters.sqlite.log_keeper import move_log
from spinfloor.core.errors import SpinfloorError
from spinfloor.ports.errors import OverloadedError, StorageError
from spinfloor.ports.inputs import behind_a_failed_one

T = TypeVar("T")

SPACING_S: Final = 0.002  # each commit costs the interpreter some tenths of a millisecond, whatever is in it
SPACING_MOST_S: Final = 0.006
SPACING_COMMITS: Final = 3.0  # a commit takes longer where the interpreter is busy; there it pays to share it with more
GROUP_BYTES: Final = 8 << 20  # a commit of this size takes some tens of milliseconds on an ordinary disk
PENDING_BYTES: Final = 16 << 20
PENDING_COUNT: Final = 1024
PROBE_BYTES: Final = 1024
_OVERHEAD: Final = 128  # bytes charged per piece of work beside its payload


Run = Callable[[sqlite3.Connection], T]
Merge = Callable[[sqlite3.Connection, list[Any]], list[Any]]
"""All that was asked for by `submit_merged` and is in this commit: an outcome for each, a SpinfloorError to refuse it."""

AfterCommit = Callable[[Any, Any], None]
"""Given what was asked and its outcome."""


@dataclass(slots=True)
class _Work:
    """run: on its own; else `merge` takes what was asked together with whatever else was asked of it."""

    key: str
    size: int
    run: Run[Any] | None
    merge: Merge | None
    asked: Any
    loop: asyncio.AbstractEventLoop
    future: asyncio.Future[Any]
    after_commit: AfterCommit | None


class Writer:
    """Runs functions on the writing connection, in the order of each key, committed before their result is known."""

    def __init__(self, path: Path, *, waiting: int = PENDING_COUNT, waiting_bytes: int = PENDING_BYTES) -> None:
        """waiting, waiting_bytes: how much of one key may wait."""
        self._path = path
        self._most, self._most_bytes = waiting, waiting_bytes
        self._waiting: OrderedDict[str, deque[_Work]] = OrderedDict()
        self._pending: dict[str, tuple[int, int]] = {}
        self._failed: Counter[str] = (
            Counter()
        )  # keys with merged work that failed, until those who asked have been told
        self._condition = threading.Condition()
        self._closing = False
        self._log_is_long = False
        self._rollbacks: list[Callable[[], None]] = []
        self.commits = 0
        self.written = 0
        self.failed_bytes = 0  # size of a commit that failed, until one as large has been made
        self._connection = connect(path)
        self._thread = threading.Thread(target=self._loop, name="sqlite-writer", daemon=True)

    def start(self) -> None:
        """Begin committing."""
        self._thread.start()

    def on_rollback(self, forget: Callable[[], None]) -> None:
        """`forget` is called on the writer's thread after a failed commit, to drop what was cached from it."""
        self._rollbacks.append(forget)

    def finish_log(self) -> None:
        """After the next commit, move into the database what the log still holds; costs that commit's followers a sync."""
        self._log_is_long = True

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
        run: Run[T],
        *,
        size: int = 0,
        bounded: bool = True,
    ) -> T:
        """Run `run` in a transaction and return its result once it is on disk.

        `run` checks before it writes: a SpinfloorError it raises fails only itself. Raises OverloadedError when the
        key's share is full.
        """
        loop = asyncio.get_running_loop()
        work = _Work(key, size + _OVERHEAD, run, None, None, loop, loop.create_future(), None)
        self._enqueue(work, bounded=bounded)
        result: T = await work.future
        return result

    def submit_merged(
        self, key: str, merge: Merge, asked: Any, *, size: int, after_commit: AfterCommit
    ) -> asyncio.Future[Any]:
        """As `submit`, in one call of `merge` with everything else asked of the same function in this commit.

        Each statement makes the writer's thread give up the interpreter and wait to have it back; one statement for
        many rows does so once. `after_commit` is called on the event loop, in commit order, before the result is there.
        When a commit fails, so does what of its keys was asked for behind it until all have been told.
        """
        loop = asyncio.get_running_loop()
        work = _Work(key, size + _OVERHEAD, None, merge, asked, loop, loop.create_future(), after_commit)
        self._enqueue(work, bounded=True)
        return work.future

    def _enqueue(self, work: _Work, *, bounded: bool) -> None:
        key = work.key
        with self._condition:
            if self._closing:
                raise storage_error(RuntimeError("the store is closing"))
            if work.merge is not None and self._failed[key]:
                raise behind_a_failed_one()
            count, pending = self._pending.get(key, (0, 0))
            if bounded and count and (count >= self._most or pending + work.size > self._most_bytes + _OVERHEAD):
                raise OverloadedError(
                    expected=f"at most {self._most} batches or {self._most_bytes} bytes waiting for the disk",
                    got=f"{count} waiting",
                    now="this batch was not taken; keep it and send it again",
                )
            self._pending[key] = (count + 1, pending + work.size)
            self._waiting.setdefault(key, deque()).append(work)
            self._condition.notify()

    def _take(self, not_before_s: float) -> list[_Work]:
        """A group: one piece from each key in turn until the group is full. Empty: closing and nothing left."""
        with self._condition:
            while not self._waiting and not self._closing:
                self._condition.wait()
        time.sleep(max(0.0, not_before_s - time.monotonic()))
        with self._condition:
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
        not_before_s = 0.0
        while group := self._take(not_before_s):
            begun_s = time.monotonic()
            outcomes = self._commit(group)
            taken_s = time.monotonic() - begun_s
            not_before_s = begun_s + min(max(SPACING_S, SPACING_COMMITS * taken_s), SPACING_MOST_S)
            done = list(zip(group, outcomes, strict=True))
            with self._condition:
                done += self._behind(done)
                for work, _ in done:
                    self._settle(work)
            by_loop: dict[asyncio.AbstractEventLoop, list[tuple[_Work, Any]]] = {}
            for work, outcome in done:
                by_loop.setdefault(work.loop, []).append((work, outcome))
            for loop, pairs in by_loop.items():
                if not loop.is_closed():
                    loop.call_soon_threadsafe(self._deliver, pairs)
            if self._log_is_long:
                self._log_is_long = False
                with suppress(sqlite3.Error):  # the keeper asks again
                    move_log(self._connection)
        self._connection.close()

    def _behind(self, done: list[tuple[_Work, Any]]) -> list[tuple[_Work, Any]]:
        """The merged work that waits behind some that failed, with its outcome; none of it is done, and no more is taken on."""
        failed = {work.key for work, outcome in done if work.merge is not None and isinstance(outcome, StorageError)}
        found: list[tuple[_Work, Any]] = []
        for key in failed:
            self._failed[key] += 1
            works = self._waiting.pop(key, deque())
            found += [(work, behind_a_failed_one()) for work in works if work.merge is not None]
            if rest := deque(work for work in works if work.merge is None):
                self._waiting[key] = rest
        return found

    def _deliver(self, pairs: list[tuple[_Work, Any]]) -> None:
        """On the event loop: tell each who asked."""
        for work, outcome in pairs:
            _tell(work, outcome)
        failed = {work.key for work, outcome in pairs if work.merge is not None and isinstance(outcome, StorageError)}
        if failed:
            asyncio.get_running_loop().call_soon(self._told, failed)  # behind the wake-ups of those just told

    def _told(self, keys: set[str]) -> None:
        with self._condition:
            self._failed -= Counter(keys)

    def _settle(self, work: _Work) -> None:
        count, pending = self._pending[work.key]
        if count == 1:
            del self._pending[work.key]
        else:
            self._pending[work.key] = (count - 1, pending - work.size)

    def _commit(self, group: list[_Work]) -> list[Any]:
        size = sum(work.size for work in group)
        try:
            self._connection.execute("BEGIN IMMEDIATE")
            outcomes = _run_all(self._connection, group)
            self._connection.execute("COMMIT")
        # Whatever goes wrong in here, a driver error or a defect, nothing of the group may be acknowledged.
        except Exception as exc:
            self._undo()
            self.failed_bytes = size
            return [storage_error(exc)] * len(group)
        if size >= self.failed_bytes:
            self.failed_bytes = 0
        self.commits += 1
        self.written += len(group)
        return outcomes

    def _undo(self) -> None:
        if self._connection.in_transaction:
            with suppress(sqlite3.Error):  # SQLite may have rolled back by itself; what failed before it is told
                self._connection.execute("ROLLBACK")
        for forget in self._rollbacks:
            forget()

    def close(self) -> None:
        """Commit what waits, then end the thread."""
        with self._condition:
            self._closing = True
            self._condition.notify()
        if self._thread.is_alive():
            self._thread.join()


def _run_all(connection: sqlite3.Connection, group: list[_Work]) -> list[Any]:
    outcomes: list[Any] = [None] * len(group)
    merged: dict[Merge, list[int]] = {}
    for place, work in enumerate(group):
        if work.run is None:
            assert work.merge is not None
            merged.setdefault(work.merge, []).append(place)
            continue
        try:
            outcomes[place] = work.run(connection)
        except SpinfloorError as exc:
            outcomes[place] = exc
    for merge, places in merged.items():
        results = merge(connection, [group[place].asked for place in places])
        for place, result in zip(places, results, strict=True):
            outcomes[place] = result
    return outcomes


def _tell(work: _Work, outcome: Any) -> None:
    failed = isinstance(outcome, Exception)
    if not failed and work.after_commit is not None:
        work.after_commit(work.asked, outcome)
    if work.future.cancelled():
        return
    if failed:
        work.future.set_exception(outcome)
        work.future.exception()  # the caller may be gone (cancelled); then nobody else looks at it
    else:
        work.future.set_result(outcome)
