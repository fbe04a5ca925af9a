"""Where the compiled kernel is kept when the home folder can't be written: never where somebody else could put it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

SHOW = "import spinfloor, os; print(os.environ['NUMBA_CACHE_DIR'])"
MINE = f"spinfloor-cache-{os.getuid()}"


def _kept_in(place: Path, home: Path) -> Path:
    """The folder of the compiled kernel, as a process with this home and temporary folder chooses it."""
    gone = ("NUMBA_CACHE_DIR", "SPINFLOOR_CACHE_DIR", "XDG_CACHE_HOME")
    env = {name: value for name, value in os.environ.items() if name not in gone}
    env |= {"HOME": str(home), "TMPDIR": str(place), "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(
        [sys.executable, "-c", SHOW], env=env, capture_output=True, text=True, timeout=240, check=True
    )
    return Path(done.stdout.strip())


@pytest.fixture
def no_home(tmp_path: Path) -> Path:
    """A home that is a file: nothing can be written below it, not even by root."""
    path = tmp_path / "home"
    path.write_text("")
    return path


def test_the_home_folder_comes_first(tmp_path: Path) -> None:
    assert _kept_in(tmp_path, tmp_path / "home").parent == tmp_path / "home" / ".cache" / "spinfloor"


def test_without_one_it_is_a_folder_of_this_user_alone_and_the_same_the_next_time(
    tmp_path: Path, no_home: Path
) -> None:
    kept = _kept_in(tmp_path, no_home)
    assert kept.parent == tmp_path / MINE
    assert kept.parent.stat().st_mode & 0o777 == 0o700
    assert _kept_in(tmp_path, no_home) == kept


def _open_to_all(path: Path) -> None:
    path.mkdir()
    path.chmod(0o777)


def _elsewhere(path: Path) -> None:
    (path.parent / "other").mkdir(mode=0o700)
    path.symlink_to(path.parent / "other")


def _of_another(path: Path) -> None:
    path.mkdir(mode=0o700)
    os.chown(path, 65534, 65534)


@pytest.mark.parametrize(
    "planted",
    [
        _open_to_all,
        _elsewhere,
        Path.touch,
        pytest.param(_of_another, marks=pytest.mark.skipif(os.getuid() != 0, reason="only root gives a folder away")),
    ],
)
def test_what_another_could_have_put_there_is_not_used(
    tmp_path: Path, no_home: Path, planted: Callable[[Path], None]
) -> None:
    planted(tmp_path / MINE)
    kept = _kept_in(tmp_path, no_home).parent
    assert kept.parent == tmp_path
    assert kept.name.startswith("spinfloor-cache-")
    assert kept.name != MINE
    assert kept.stat().st_mode & 0o777 == 0o700
    assert kept.stat().st_uid == os.getuid()
