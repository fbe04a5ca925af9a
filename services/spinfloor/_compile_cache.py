"""Where the compiled kernel is kept between runs.

numba's on-disk cache looks only at the file a function stands in, not at what that file imports, so a change in an
imported formula would go unnoticed. The cache directory's name is therefore a hash of all of the core's source.

What is read from the cache is run, so it lies where nobody else writes: in the home folder, or, where there is none to write
to, in a folder of the temporary one that is this user's alone.
"""

from __future__ import annotations

import hashlib
import os
import stat
import sys
import tempfile
from pathlib import Path

# What the kernel is compiled from; the rest of the core (plan, events, errors) is ordinary Python.
COMPILED_FROM = ("detector", "physics", "recovery", "channels.py", "compiled.py", "settings.py", "units.py")


def core_source_hash() -> str:
    """Hex digest over the Python files the kernel is compiled from, in path order."""
    core = Path(__file__).parent / "core"
    digest = hashlib.sha256()
    roots = [core / name for name in COMPILED_FROM]
    files = [path for root in roots for path in ([root] if root.is_file() else root.rglob("*.py"))]
    for path in sorted(files):
        digest.update(path.relative_to(core).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def _base() -> Path:
    configured = os.environ.get("SPINFLOOR_CACHE_DIR") or os.environ.get("XDG_CACHE_HOME")
    home = Path(configured) if configured else Path(os.path.expanduser("~")) / ".cache"
    try:
        target = home / "spinfloor"
        target.mkdir(parents=True, exist_ok=True)
        if os.access(target, os.W_OK):
            return target
    except OSError:
        pass
    return _own_temporary()


def _own_temporary() -> Path:
    """Kept from run to run when it is ours and nobody else's; else one for this process and what it starts."""
    user = os.getuid() if hasattr(os, "getuid") else 0
    kept = Path(tempfile.gettempdir()) / f"spinfloor-cache-{user}"
    try:
        kept.mkdir(mode=0o700, exist_ok=True)
        found = kept.lstat()
    except OSError:  # a file, or a folder that cannot be made
        return Path(tempfile.mkdtemp(prefix="spinfloor-cache-"))
    if stat.S_ISDIR(found.st_mode) and (os.name == "nt" or (found.st_uid == user and not found.st_mode & 0o022)):
        return kept
    return Path(tempfile.mkdtemp(prefix="spinfloor-cache-"))


def use_keyed_cache() -> None:
    """Point numba at the directory for this source; an explicit NUMBA_CACHE_DIR is left alone."""
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    directory = str(_base() / f"compiled-{core_source_hash()}")
    os.environ["NUMBA_CACHE_DIR"] = directory
    config = sys.modules.get("numba.core.config")
    if config is not None:
        config.CACHE_DIR = directory  # type: ignore[attr-defined]  # sys.modules knows a module by no type of its own
