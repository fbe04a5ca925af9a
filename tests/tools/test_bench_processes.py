"""The speed benchmark's own processes: the plain loop, the children of the programme, a cache of their own."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from tests.tools.bench import data, programme
from tests.tools.bench.kernel import plain_loop_s
from tests.tools.bench.live import point_rows
from tests.tools.bench.startup import cache_in
from tests.tools.load.point import Point


def test_the_plain_loop_makes_the_same_events_as_the_compiled_kernel() -> None:
    # It raises when they differ; the stretch has an entry and turns. Uncompiled Python is slower, whatever the machine.
    assert plain_loop_s(1_500) > 1e-5


def test_a_child_reduces_what_it_is_given_on_its_core(tmp_path: Path) -> None:
    (path,) = programme.write(tmp_path, 1)
    told = programme.together([[str(path), str(path)]], sorted(os.sched_getaffinity(0)))
    assert told["spins"] == 2 * data.spins_per_set()
    assert told["frames"] == 2 * len(data.one_set(0))
    assert 0.0 < told["kernel_s"] < told["seconds"]


def test_a_cache_of_its_own_ends_with_the_block(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", "before")
    monkeypatch.delenv("SPINFLOOR_CACHE_DIR", raising=False)
    with cache_in(tmp_path):
        assert os.environ["SPINFLOOR_CACHE_DIR"] == str(tmp_path)
        assert "NUMBA_CACHE_DIR" not in os.environ
    assert os.environ["NUMBA_CACHE_DIR"] == "before"
    assert "SPINFLOOR_CACHE_DIR" not in os.environ


def test_a_load_that_was_refused_says_so_in_its_row() -> None:
    rows = point_rows(Point(10, 100.0, 5, 4.0, 9.0, faults=["refused: overloaded"]), (2.0, 3.0))
    assert [row.ratio for row in rows] == [2.0, 3.0]
    assert all("refused: overloaded" in row.what for row in rows)
    assert [row.target for row in rows] == ["", "20"]
