"""Reading in a child process, for formats whose C library can crash on damaged files: the crash costs one reading.

The child is started when first needed, serves one file after another, and is replaced when it has died or takes too
long. It ends with the process that started it.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any, Final

from spinfloor.adapters.recordings.recording import RecordingError, Source

ANSWER_WITHIN_S: Final = 300.0  # the largest files take about a minute; a damaged one may send the library in circles
Reader = Callable[[Path], Source]


class ReadingChild:
    """One child; readings of several threads take turns."""

    def __init__(self, *, within_s: float = ANSWER_WITHIN_S) -> None:
        self._within_s = within_s
        self._turn = threading.Lock()
        self._process: BaseProcess | None = None
        self._line: Connection | None = None

    def read(self, reader: Reader, path: Path) -> Source:
        """What `reader` makes of the file. Raises RecordingError, also when the child crashes over it."""
        with self._turn:
            line = self._ready()
            try:
                line.send((reader, path))
                if not line.poll(self._within_s):
                    raise TimeoutError
                answer = line.recv()
            except (EOFError, OSError, TimeoutError) as error:
                self.end()
                raise _crashed(path, late=isinstance(error, TimeoutError)) from error
        if isinstance(answer, Source):
            return answer
        raise RecordingError(**answer)

    @property
    def pid(self) -> int | None:
        """Of the child, None while there is none."""
        return None if self._process is None else self._process.pid

    def end(self) -> None:
        """End the child; the next reading starts another."""
        if self._line is not None:
            self._line.close()
        if self._process is not None:
            self._process.kill()
            self._process.join()
        self._line = self._process = None

    def _ready(self) -> Connection:
        if self._line is not None and self._process is not None and self._process.is_alive():
            return self._line
        self.end()
        spawn = multiprocessing.get_context("spawn")  # a fork would copy the locks of other threads
        ours, theirs = spawn.Pipe()
        self._process = spawn.Process(target=_serve, args=(theirs,), name="recording-reader", daemon=True)
        self._process.start()
        theirs.close()
        self._line = ours
        return ours


def _crashed(path: Path, *, late: bool) -> RecordingError:
    how = "over which the reading library went in circles" if late else "over which the reading library crashed"
    return RecordingError(
        expected="a whole, undamaged file",
        got=f"{path.name}, {how}: its structure is damaged",
        now="nothing could be read from it",
        path=path.name,
    )


def _serve(line: Connection) -> None:
    """The child's life: until the line is closed."""
    _no_core_files()
    while True:
        try:
            reader, path = line.recv()
        except (EOFError, OSError):
            return
        line.send(_read(reader, path))


def _read(reader: Reader, path: Path) -> Source | dict[str, Any]:
    try:
        return reader(path)
    except RecordingError as error:
        return {"expected": error.expected, "got": error.got, "now": error.now, **error.fields}
    # A damaged file can raise anything in a C library's binding; here it may end nothing but this reading.
    except Exception as error:
        return {
            "expected": "a whole, undamaged file",
            "got": f"{path.name}, which its library refuses ({type(error).__name__})",
            "now": "nothing could be read from it",
            "path": path.name,
        }


def _no_core_files() -> None:
    import resource

    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


CHILD: Final = ReadingChild()
