"""The app: services put together, routes, the door in front, a JSON 404 behind."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Coroutine, Sequence
from typing import Any, Final

import structlog
from fastapi import APIRouter, FastAPI, Request, WebSocket
from fastapi.routing import APIRoute
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, Response
from starlette.routing import Match

from spinfloor import __version__
from spinfloor.api import problems
from spinfloor.api.auth import Authority
from spinfloor.api.docs_page import HEADERS, docs_page
from spinfloor.api.gauges import register_gauges
from spinfloor.api.guard import Guard
from spinfloor.api.metrics import Metrics
from spinfloor.api.openapi import describe
from spinfloor.api.own_names import OwnNames
from spinfloor.api.presence import Presence
from spinfloor.api.routes import ROUTERS
from spinfloor.api.routes.sorties import create_sortie
from spinfloor.api.services import Services
from spinfloor.api.settings import Settings
from spinfloor.archive.bench import Bench
from spinfloor.archive.learning import Learner
from spinfloor.archive.reruns import Reruns
from spinfloor.core.caution import CAUTION
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.plan.model import Plan
from spinfloor.detect.supervisor import Pace, Supervisor
from spinfloor.detect.view import BusView, LiveView, LocalView
from spinfloor.detect.warm import warm_kernel
from spinfloor.ingest.limits import RateLimit
from spinfloor.ingest.service import Ingest
from spinfloor.ports.bundle import Ports
from spinfloor.ports.errors import SortieExistsError
from spinfloor.ports.sorties import SortieKind
from spinfloor.replay.service import Replays

log = structlog.get_logger("spinfloor.api")

Mount = Callable[[FastAPI], None]
BEGIN_AGAIN_S: Final = 1.0


def create_app(
    ports: Ports,
    settings: Settings,
    *,
    detect: bool = True,
    close_ports: bool = True,
    mount: Mount | None = None,
    routers: Sequence[APIRouter] = ROUTERS,
    watched: bool = True,
    pace: Pace | None = None,
    owner: str | None = None,
    also: Callable[[Supervisor | None], Coroutine[Any, Any, None]] | None = None,
) -> FastAPI:
    """The service on a set of ports.

    detect: run the detectors in this process (embedded mode); else they run elsewhere and are seen over the bus.
    mount: adds the screens once all routes are there. close_ports: the app's end closes the ports.
    For processes that do a part only: routers, the routes it has; watched: screens connect here, so that who watches
    and what was heard is kept; pace: of leases; owner: their owner's name, when one that comes back after a crash is to
    have its own again at once (None: a new name per process); also: work that goes on beside it, given the supervisor.
    """
    learner = Learner(ports)
    supervisor = Supervisor(ports, on_events=learner.on_events, pace=pace, owner=owner) if detect else None
    services = _services(ports, settings, learner, supervisor)
    register_gauges(services, supervisor)

    @contextlib.asynccontextmanager
    async def lifespan(_app: FastAPI) -> AsyncIterator[None]:
        tasks = [asyncio.create_task(services.presence.run(), name="presence")] if watched else []
        if also is not None:
            tasks.append(asyncio.create_task(also(supervisor), name="also"))
        if supervisor is not None:
            tasks.append(asyncio.create_task(_begin(services, supervisor), name="begin"))
            tasks.append(asyncio.create_task(learner.run(), name="learner"))
        try:
            yield
        finally:
            await _end(services, supervisor, tasks)
            if close_ports:
                await ports.close()

    app = FastAPI(
        title="spinfloor",
        version=__version__,
        description=f"Live watch over spin tests. {CAUTION}",
        lifespan=lifespan,
        docs_url=None,
        redoc_url=None,
    )
    app.state.services = services
    app.state.supervisor = supervisor
    problems.install(app)
    for router in routers:
        app.include_router(router)
    _unknown_paths(app, routers)
    describe(app)
    _page_for_reading(app)
    if mount is not None:
        mount(app)
    app.add_middleware(Guard, settings=settings, clock=ports.clock, traffic=services.metrics.traffic)
    return app


def _services(ports: Ports, settings: Settings, learner: Learner, supervisor: Supervisor | None) -> Services:
    view: LiveView = LocalView(ports, supervisor) if supervisor is not None else BusView(ports)
    ingest = Ingest(ports.inputs, ports.clock)
    bench = Bench()

    async def make_rehearsal(plan: Plan, sortie: str | None, notes: dict[str, Any]) -> str:
        record, new = await create_sortie(services, plan, sortie=sortie, kind=SortieKind.REHEARSAL, notes=notes)
        if not new:
            raise SortieExistsError(
                expected="a new name for the rehearsal, because two flights in one sortie are none",
                got=f"{record.id}, which there is already",
                now="nothing was played",
            )
        services.view.touch(record.id)
        return record.id

    services = Services(
        ports=ports,
        settings=settings,
        view=view,
        ingest=ingest,
        own_names=OwnNames(ports.sorties),
        authority=Authority(ports.tokens, ports.sessions, ports.clock, settings.tokens_required),
        presence=Presence(ports.bus, ports.clock),
        metrics=Metrics(),
        rate=RateLimit(ports.clock, per_second=settings.bytes_per_s, burst=settings.burst_bytes),
        replays=Replays(ports, ingest, settings.recordings, make_rehearsal),
        learner=learner,
        bench=bench,
        reruns=Reruns(ports, bench),
    )
    if supervisor is None:
        services.kernel_ready.set()
    return services


async def _begin(services: Services, supervisor: Supervisor) -> None:
    """Compile (or load) the kernel; then take up what was left when the last process ended.

    Detectors asked for meanwhile wait for the kernel.
    """
    await asyncio.to_thread(warm_kernel)
    supervisor.warm.set()
    while (taken := await _taken_up(services, supervisor)) is None:
        await services.ports.clock.sleep(BEGIN_AGAIN_S)
    services.kernel_ready.set()
    trouble = await services.ports.ready()
    if trouble is None:
        log.info("ready", sorties_taken_up=taken)
    else:
        log.warning("not ready", reason=trouble, sorties_taken_up=taken)


async def _taken_up(services: Services, supervisor: Supervisor) -> int | None:
    """How many sorties; None while the store can't be read, which readiness tells."""
    try:
        return await supervisor.start()
    except SpinfloorError as error:
        log.warning("can't take up what was left", reason=error.sentence, again_in_s=BEGIN_AGAIN_S)
        return None


async def _end(services: Services, supervisor: Supervisor | None, tasks: list[asyncio.Task[None]]) -> None:
    await services.replays.close()
    await services.reruns.close()
    await services.bench.close()
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)
    if supervisor is not None:
        await supervisor.close()


def _unknown_paths(app: FastAPI, routers: Sequence[APIRouter]) -> None:
    """Behind every API route: whatever else is under /v1, and every other socket, is a problem, not a page."""

    @app.api_route("/v1/{rest:path}", methods=["GET", "POST", "PUT", "PATCH", "DELETE"], include_in_schema=False)
    async def unknown(request: Request, rest: str) -> Response:
        raise HTTPException(405 if _methods(request, routers) else 404)

    @app.exception_handler(405)
    async def wrong_method(request: Request, error: HTTPException) -> Response:
        given = (error.headers or {}).get("Allow", "")
        return problems.wrong_method(request, _methods(request, routers) or [given])

    @app.websocket("/{rest:path}")
    async def unknown_socket(socket: WebSocket, rest: str) -> None:
        raise problems.ProblemError(
            404,
            "unknown-path",
            expected="a socket of this service: /v1/sorties/ID/frames or /v1/sorties/ID/live",
            got=socket.url.path,
            now="nothing was opened",
        )


def _page_for_reading(app: FastAPI) -> None:
    @app.get("/docs", include_in_schema=False)
    async def docs() -> Response:
        return HTMLResponse(docs_page(app.openapi()), headers=HEADERS)


def _methods(request: Request, routers: Sequence[APIRouter]) -> list[str]:
    """All methods this path has; the router itself names those of one route only."""
    asked = {name: request.scope.get(name, "") for name in ("type", "method", "path", "root_path")}
    found: set[str] = set()
    for router in routers:
        for route in router.routes:
            if isinstance(route, APIRoute) and route.matches(asked)[0] is not Match.NONE:
                found |= route.methods or set()
    return sorted(found)
