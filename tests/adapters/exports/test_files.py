"""Writing an export: in place of a file, into a device or a pipe."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest

from spinfloor.adapters.exports.files import CannotWriteError, write_whole


def test_a_file_is_replaced_as_a_whole(tmp_path: Path) -> None:
    target = tmp_path / "out"
    write_whole(target, b"first")
    write_whole(target, b"second")
    assert target.read_bytes() == b"second"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_a_pipe_is_written_into_and_stays_one(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    read: list[bytes] = []
    reader = threading.Thread(target=lambda: read.append(pipe.read_bytes()))
    reader.start()
    write_whole(pipe, b"events")
    reader.join(20.0)
    assert read == [b"events"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_a_folder_is_told_and_left_alone(tmp_path: Path) -> None:
    with pytest.raises(CannotWriteError, match="nothing was written"):
        write_whole(tmp_path, b"x")
    assert tmp_path.is_dir()
