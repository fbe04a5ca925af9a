"""A process that has everything loaded and compiled, and forks servers: so that a killed server is back in a moment.

Reads lines on standard input: `start FOLDER PORT`; answers with the child's process id. Ends when its input does.
"""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from pathlib import Path

from spinfloor.detect.warm import warm_kernel
from spinfloor.logs import set_up_logs
from spinfloor.serving import Options, run_service


def serve(folder: str, port: int) -> None:
    """The service as `spinfloor serve --no-screen` runs it."""
    set_up_logs()
    asyncio.run(run_service(Options("127.0.0.1", port, Path(folder), screen=False, told=lambda _: None)))


def main() -> None:
    """Fork on request."""
    warm_kernel()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # children are reaped by the system
    print("ready", flush=True)
    for line in sys.stdin:
        _, folder, port = line.split()
        child = os.fork()
        if child == 0:
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            try:
                serve(folder, int(port))
            finally:
                os._exit(0)
        print(child, flush=True)


if __name__ == "__main__":
    main()
