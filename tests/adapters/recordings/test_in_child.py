"""A crash of the library under a reader costs one reading and is told like any other damage."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import h5py
import numpy as np
import pytest

from spinfloor.adapters.recordings import RecordingError
from spinfloor.adapters.recordings.hdf5_file import read_here
from spinfloor.adapters.recordings.in_child import ReadingChild
from spinfloor.adapters.recordings.recording import Source


def crash(_path: Path) -> Source:
    """What a C library does over damaged metadata."""
    os.kill(os.getpid(), signal.SIGSEGV)
    raise AssertionError


def circles(_path: Path) -> Source:
    """A library that never comes back."""
    time.sleep(600.0)
    raise AssertionError


def defect(_path: Path) -> Source:
    """A binding that raises what nobody expects."""
    raise LookupError("no such heap")


def test_crashes_and_endless_readings_are_recording_errors_and_the_next_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "good.h5"
    with h5py.File(path, "w") as file:
        file["p"] = np.arange(5.0)
        file["p"].attrs["units"] = "rad/s"
    child = ReadingChild(within_s=60.0)
    try:
        first = child.read(read_here, path)
        pid = child.pid
        assert first.tables[0].columns["p"].unit == "rad/s"
        assert first.tables[0].columns["p"].values.tolist() == [0.0, 1.0, 2.0, 3.0, 4.0]
        with pytest.raises(RecordingError, match=r"bad\.h5, over which the reading library crashed"):
            child.read(crash, tmp_path / "bad.h5")
        assert child.read(read_here, path).tables[0].rows == 5
        assert child.pid not in (None, pid)
        with pytest.raises(RecordingError, match=r"refuses \(LookupError\)"):
            child.read(defect, tmp_path / "bad.h5")
        (tmp_path / "cut.h5").write_bytes(path.read_bytes()[:100])
        with pytest.raises(RecordingError, match="damaged or cut short") as told:
            child.read(read_here, tmp_path / "cut.h5")
        assert told.value.fields == {"path": "cut.h5"}
        child._within_s = 0.2
        with pytest.raises(RecordingError, match="went in circles"):
            child.read(circles, tmp_path / "bad.h5")
        assert child.pid is None
    finally:
        child.end()
