"""The real service in a thread of the test process: real sockets on a port the system picks, real SQLite."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import uvicorn
from tests.places import RECORDINGS

from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.adapters.sqlite import open_store
from spinfloor.api.app import create_app
from spinfloor.api.settings import Settings
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.load import plan_to_data
from spinfloor.ports.tokens import TokenRecord
from spinfloor.serving import OWNER, Options, config_for, listen

NAME = "r02-left-right-pair"
ROOMY = Settings(recordings=(RECORDINGS,), requests_per_s=1e6, request_burst=1e6)


def plan_data(**timing: float) -> dict[str, Any]:
    """The recording's plan as JSON."""
    data = plan_to_data(load_plan(RECORDINGS / f"{NAME}.plan.yaml"))
    return {**data, "timing": {**data.get("timing", {}), **timing}}


def frames() -> FrameBlock:
    """The recording's frames."""
    return read_recording(RECORDINGS / f"{NAME}.parquet").block


class Serving:
    """A service that runs; `http` is a client of it, `loop` its event loop."""

    def __init__(self, base: str, app: Any, loop: asyncio.AbstractEventLoop) -> None:
        self.base = base
        self.app = app
        self.loop = loop
        self.http = httpx.Client(base_url=base, timeout=180.0, trust_env=False)

    def sortie(self, name: str, **timing: float) -> str:
        """A new sortie with the recording's plan."""
        answer = self.http.post(f"/v1/sorties?id={name}", json=plan_data(**timing))
        assert answer.status_code == 201, answer.text
        return name


@contextmanager
def serving(folder: Path, settings: Settings = ROOMY, tokens: tuple[TokenRecord, ...] = ()) -> Iterator[Serving]:
    """Started, ready, and ended in order."""
    listener = listen("127.0.0.1", 0)
    up = threading.Event()
    made: dict[str, Any] = {}

    async def main() -> None:
        ports = open_store(folder)
        for token in tokens:
            await ports.tokens.put(token)
        app = create_app(ports, replace(settings), owner=OWNER)
        server = uvicorn.Server(config_for(app, Options("127.0.0.1", 0, folder), settings))
        made.update(app=app, server=server, loop=asyncio.get_running_loop())
        running = asyncio.create_task(server.serve(sockets=[listener]))
        await app.state.services.kernel_ready.wait()
        up.set()
        await running

    def work() -> None:
        try:
            asyncio.run(main())
        except Exception as error:
            made["error"] = error
        finally:
            up.set()

    thread = threading.Thread(target=work, name="service")
    thread.start()
    assert up.wait(240.0)
    if "error" in made:
        listener.close()
        raise made["error"]
    service = Serving(f"http://127.0.0.1:{listener.getsockname()[1]}", made["app"], made["loop"])
    try:
        yield service
    finally:
        service.http.close()
        made["server"].should_exit = True
        thread.join(120.0)
        listener.close()
        assert not thread.is_alive()
