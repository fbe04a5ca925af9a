"""A recording from a pipe. Readers seek, and look at the first bytes before they read; a pipe can do neither."""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Final

STANDARD_INPUT: Final = Path("-")


@contextmanager
def as_file(path: Path) -> Iterator[Path]:
    """The recording as a file, as long as it is read: standard input (`-`) and pipes are copied into one first.

    Any other path is given back as it is. Raises OSError when a pipe cannot be opened or the copy not be written.
    """
    if path == STANDARD_INPUT:
        with _copied(sys.stdin.buffer, "stdin") as file:
            yield file
        return
    if not path.is_fifo():
        yield path
        return
    with path.open("rb") as pipe, _copied(pipe, path.name) as file:
        yield file


@contextmanager
def _copied(pipe: BinaryIO, name: str) -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="spinfloor-") as folder:
        file = Path(folder, name)
        with file.open("wb") as copy:
            shutil.copyfileobj(pipe, copy)
        yield file
