"""The tree is the architecture: who may import whom."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import spinfloor
import spinfloor_dashboard

SPINFLOOR = Path(spinfloor.__file__).parent
DASHBOARD = Path(spinfloor_dashboard.__file__).parent

# The core waits for nothing and reaches nothing.
FORBIDDEN_IN_CORE = {
    "asyncio", "time", "datetime", "socket", "ssl", "selectors", "threading", "multiprocessing", "subprocess",
    "logging", "sqlite3", "nats", "asyncpg", "fastapi", "starlette", "uvicorn", "httpx", "websockets", "dash",
    "structlog",
    "pyarrow", "pandas", "polars", "random", "os", "io", "tempfile", "shutil", "urllib", "http",
}  # fmt: skip

# Drivers and file-format libraries live in adapters only.
DRIVERS = {"sqlite3", "nats", "asyncpg", "h5py", "pymavlink", "pychapter10", "scipy.io", "pyarrow", "pint"}

# Each in one place only: what it is replaced by then has one door.
HOME_OF = {
    "sqlite3": "sqlite", "nats": "nats", "asyncpg": "postgres", "h5py": "recordings", "pymavlink": "mavlink",
    "scipy.io": "recordings", "zipfile": "sortie_file", "reportlab": "exports",
}  # fmt: skip

# Which part of the service may know which other; what is not here (commands, serving, cli) puts the parts together.
MAY_KNOW = {
    "core": set(),
    "ports": {"core"},
    "ingest": {"core", "ports"},
    "detect": {"core", "ports"},
    "adapters": {
        "core",
        "ports",
        "ingest",
        "archive",
    },  # links decode as ingest does; the PDF is drawn from report blocks
    "replay": {"core", "ports", "ingest", "detect", "adapters"},
    "archive": {"core", "ports", "detect", "adapters"},
    "api": {"core", "ports", "ingest", "detect", "adapters", "replay", "archive"},
}
# The databases and message servers behind the ports; only what puts the parts together opens them.
STORES = {f"spinfloor.adapters.{name}" for name in ("sqlite", "postgres", "nats", "spread", "memory_bus")}

# What the dashboard may use of the product.
DASHBOARD_MAY_IMPORT = {"spinfloor.client", "spinfloor"}


def _modules(folder: Path) -> Iterator[Path]:
    yield from sorted(folder.rglob("*.py"))


def _imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            yield node.module


def _starts_with(name: str, roots: set[str]) -> bool:
    return any(name == root or name.startswith(root + ".") for root in roots)


@pytest.mark.parametrize("path", list(_modules(SPINFLOOR / "core")), ids=lambda p: p.relative_to(SPINFLOOR).as_posix())
def test_core_does_no_io(path: Path) -> None:
    assert [name for name in _imports(path) if _starts_with(name, FORBIDDEN_IN_CORE)] == []


def test_core_imports_only_core() -> None:
    wrong = [
        f"{path.name}: {name}"
        for path in _modules(SPINFLOOR / "core")
        for name in _imports(path)
        if name.startswith("spinfloor.") and not _starts_with(name, {"spinfloor.core"})
    ]
    assert wrong == []


def test_drivers_only_in_adapters() -> None:
    wrong = [
        f"{path.relative_to(SPINFLOOR)}: {name}"
        for path in _modules(SPINFLOOR)
        if "adapters" not in path.parts
        for name in _imports(path)
        if _starts_with(name, DRIVERS)
    ]
    assert wrong == []


def test_each_driver_has_one_home() -> None:
    wrong = [
        f"{path.relative_to(SPINFLOOR)}: {name}"
        for path in _modules(SPINFLOOR / "adapters")
        for name in _imports(path)
        for driver, home in HOME_OF.items()
        if _starts_with(name, {driver}) and home not in path.relative_to(SPINFLOOR).parts
    ]
    assert wrong == []


@pytest.mark.parametrize("part", MAY_KNOW)
def test_parts_know_only_the_parts_below_them(part: str) -> None:
    allowed = {f"spinfloor.{name}" for name in (*MAY_KNOW[part], part, "_compile_cache")} | {"spinfloor"}
    wrong = [
        f"{path.relative_to(SPINFLOOR)}: {name}"
        for path in _modules(SPINFLOOR / part)
        for name in _imports(path)
        if name.startswith(("spinfloor.", "spinfloor_dashboard")) and not _starts_with(name, allowed - {"spinfloor"})
    ]
    assert wrong == []


@pytest.mark.parametrize("part", sorted(set(MAY_KNOW) - {"adapters"}))
def test_stores_are_reached_through_ports(part: str) -> None:
    wrong = [
        f"{path.relative_to(SPINFLOOR)}: {name}"
        for path in _modules(SPINFLOOR / part)
        for name in _imports(path)
        if _starts_with(name, STORES)
    ]
    assert wrong == []


def test_dashboard_only_through_the_client() -> None:
    wrong = [
        f"{path.relative_to(DASHBOARD)}: {name}"
        for path in _modules(DASHBOARD)
        if not path.name.startswith("sound_")  # clips are recorded at build time from the words the core calls
        for name in _imports(path)
        if _starts_with(name, {"spinfloor"}) and not _starts_with(name, DASHBOARD_MAY_IMPORT - {"spinfloor"})
    ]
    assert wrong == []
