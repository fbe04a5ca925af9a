"""Running the service: the socket, the store, the screens, an orderly end."""

from __future__ import annotations

import asyncio
import contextlib
import functools
import signal
import socket
from collections.abc import Callable, Coroutine, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import structlog
import uvicorn
from fastapi import FastAPI

from spinfloor.api.app import Mount, create_app
from spinfloor.api.settings import Settings, check_address, is_loopback
from spinfloor.core.errors import SpinfloorError
from spinfloor.event_loop import settle
from spinfloor.ports.bundle import Ports
from spinfloor.replay.library import own_recordings
from spinfloor.replay.model import NewReplay
from spinfloor.serving_protocol import patient_protocol
from spinfloor.tls import check_tls

OWNER: Final = "embedded"  # one process owns the store's folder, so after a crash its leases are its own
GRACEFUL_S: Final = 5
LISTENING: Final = "spinfloor: listening on {} (it advises; the crew and the test conductor decide)"

log = structlog.get_logger("spinfloor.serve")


class CannotListenError(SpinfloorError):
    """The address is taken or not ours."""

    code = "cannot-listen"
    exit_code = 1


class Server(uvicorn.Server):
    """Ends in order on SIGINT and SIGTERM, and that is success: the signal is not raised again afterwards."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Handle the two signals on the event loop while serving."""
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, self.handle_exit, number, None)
        try:
            yield
        finally:
            for number in (signal.SIGINT, signal.SIGTERM):
                loop.remove_signal_handler(number)


@dataclass(frozen=True, slots=True)
class Options:
    """What `spinfloor serve` was asked for.

    limits: fields of Settings by name. told: prints a line for the person who started it. clips: folder of a plan's own
    recorded words. ready: called with the address once frames can be taken. until: when it is set the service ends in
    order.
    """

    host: str
    port: int
    data: Path
    demo: bool = False
    recordings: tuple[Path, ...] = ()
    origins: tuple[str, ...] = ()
    certificate: Path | None = None
    key: Path | None = None
    screen: bool = True
    clips: Path | None = None
    limits: Mapping[str, Any] = field(default_factory=dict)
    told: Callable[[str], None] = print
    ready: Callable[[str], None] | None = None
    until: asyncio.Event | None = None


def listen(host: str, port: int) -> socket.socket:
    """A listening socket. Raises CannotListenError."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    # The protocol is named because asyncio switches off the gathering of small packets only then; with it on, an answer
    # in two writes waits 40 ms for the other side's acknowledgement.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host.strip("[]"), port))
        listener.listen(512)
    except OSError as exc:
        listener.close()
        raise CannotListenError(
            expected=f"to listen on {host} port {port}",
            got=exc.strerror or str(exc),
            now="the service does not start; choose another --port or end what is using it",
        ) from exc
    listener.setblocking(False)
    return listener


def address_of(listener: socket.socket, host: str, *, secure: bool) -> str:
    """Where a browser finds it, with the port that it got."""
    shown = f"[{host}]" if ":" in host else host
    return f"{'https' if secure else 'http'}://{shown}:{listener.getsockname()[1]}"


async def settings_for(options: Options, ports: Ports) -> Settings:
    """Loopback without tokens; anything else needs one in force. Raises UnsafeAddressError."""
    now = ports.clock.wall_ns()
    check_address(options.host, tokens=sum(token.in_force(now) for token in await ports.tokens.list_all()))
    own = own_recordings()
    settings = Settings(
        recordings=(*((own,) if own is not None else ()), *options.recordings),
        allowed_origins=options.origins,
        secure_cookies=options.certificate is not None,
        **options.limits,
    )
    if not is_loopback(options.host):
        settings = replace(settings, tokens_required=True, allowed_hosts=())
    return settings


def screens(clips: Path | None = None) -> Mount:
    """Mounts the screens; clips: folder of a plan's own recorded words."""

    def mount(app: FastAPI) -> None:
        import spinfloor_dashboard

        spinfloor_dashboard.mount(app, clips=clips)

    return mount


async def open_door(options: Options, ports: Ports) -> tuple[Settings, socket.socket, str]:
    """Settings, the listening socket and the address it has. When that can't be, closes the ports and raises our error."""
    try:
        settings = await settings_for(options, ports)
        listener = listen(options.host, options.port)
    except SpinfloorError:
        await ports.close()
        raise
    return settings, listener, address_of(listener, options.host, secure=options.certificate is not None)


async def run_service(options: Options) -> None:
    """Serve until told to stop (SIGINT, SIGTERM)."""
    from spinfloor.adapters.sqlite import open_store

    check_tls(options.certificate, options.key)
    bounds = {
        name.removeprefix("max_"): options.limits[name]
        for name in ("max_waiting", "max_waiting_bytes")
        if name in options.limits
    }
    ports = await asyncio.to_thread(functools.partial(open_store, options.data, **bounds))
    settings, listener, base = await open_door(options, ports)
    app = create_app(ports, settings, mount=screens(options.clips) if options.screen else None, owner=OWNER)
    server = Server(config_for(app, options, settings))
    beside = [asyncio.create_task(work) for work in _beside(app, server, options, base)]
    options.told(LISTENING.format(base))
    try:
        await server.serve(sockets=[listener])
    finally:
        for task in beside:
            task.cancel()
        await asyncio.gather(*beside, return_exceptions=True)


def _beside(app: FastAPI, server: Server, options: Options, base: str) -> Iterator[Coroutine[Any, Any, None]]:
    """What goes on while serving: settling down, the demonstration, word of being ready, the end."""
    yield settle(app.state.services.kernel_ready)
    if options.demo:
        yield _demo(app)
    if options.ready is not None:
        yield _say_ready(app, options.ready, base)
    if options.until is not None:
        yield _end_with(server, options.until)


async def _say_ready(app: FastAPI, ready: Callable[[str], None], base: str) -> None:
    await app.state.services.kernel_ready.wait()
    ready(base)


async def _end_with(server: Server, until: asyncio.Event) -> None:
    await until.wait()
    server.should_exit = True


def config_for(app: FastAPI, options: Options, settings: Settings) -> uvicorn.Config:
    """uvicorn with its limits; no access log (addresses carry no secrets here, but a log per batch would be noise)."""
    return uvicorn.Config(
        app,
        http=patient_protocol(settings),
        log_config=None,
        access_log=False,
        server_header=False,
        timeout_keep_alive=settings.keep_alive_s,  # type: ignore[arg-type]  # handed to call_later, which takes both
        ws_max_size=settings.max_message,
        ws_max_queue=32,
        ws_per_message_deflate=False,  # batches are packed already, and compressing costs more than the wire saves
        ws_ping_interval=settings.ping_every_s,
        ws_ping_timeout=2 * settings.ping_every_s,
        timeout_graceful_shutdown=GRACEFUL_S,
        ssl_certfile=options.certificate,
        ssl_keyfile=options.key,
    )


async def _demo(app: FastAPI) -> None:
    """A rehearsal that goes round and round, once the service is ready."""
    services = app.state.services
    await services.kernel_ready.wait()
    recordings = await services.replays.recordings()
    if not recordings:
        log.warning("no recordings to demonstrate with")
        return
    replay = await services.replays.start(NewReplay(recording=recordings[0].id, loop=True))
    log.info("demonstration", sortie=replay.sortie, recording=replay.recording)
