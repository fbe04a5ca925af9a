"""Running one part of the service against shared message servers and a shared archive."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import structlog
from fastapi import APIRouter

from spinfloor.adapters.spread import Spread, open_spread
from spinfloor.api.app import create_app
from spinfloor.api.auth import hash_of
from spinfloor.api.routes import ROUTERS, frames, marks, meta, session, sorties, tokens
from spinfloor.core.errors import SpinfloorError
from spinfloor.detect.roster import Roster
from spinfloor.detect.supervisor import SPREAD_PACE, Supervisor
from spinfloor.ports.tokens import Role, TokenRecord
from spinfloor.serving import LISTENING, Options, Server, config_for, open_door, screens
from spinfloor.tls import check_tls

AGAIN_AFTER_S: Final = 1.0
SHORTEST_SECRET: Final = 24

INGEST_ROUTES: Final[tuple[APIRouter, ...]] = (
    meta.router,
    session.router,
    tokens.router,
    sorties.router,
    frames.router,
    marks.router,
)
DETECT_ROUTES: Final[tuple[APIRouter, ...]] = (meta.router,)

log = structlog.get_logger("spinfloor.serve")


class WeakTokenError(SpinfloorError):
    """The first token can be guessed, or is none."""

    code = "weak-token"


@dataclass(frozen=True, slots=True)
class SpreadOptions:
    """Where the servers are and where to listen. The two addresses and the first token are secrets."""

    nats_url: str
    database_url: str
    prefix: str
    replicas: int
    host: str
    port: int
    first_token: str | None = None
    origins: tuple[str, ...] = ()
    recordings: tuple[Path, ...] = ()
    certificate: Path | None = None
    key: Path | None = None
    limits: Mapping[str, Any] = field(default_factory=dict)
    told: Callable[[str], None] = print

    def listening(self, *, screen: bool) -> Options:
        """The part that a single process has too."""
        return Options(
            host=self.host,
            port=self.port,
            data=Path(),
            recordings=self.recordings,
            origins=self.origins,
            certificate=self.certificate,
            key=self.key,
            screen=screen,
            limits=self.limits,
            told=self.told,
        )


async def run_ingest(options: SpreadOptions) -> None:
    """Take frames and marks in, and copy the streams into the archive."""
    spread = await _open(options, "ingest")
    await _serve(
        spread,
        options,
        routers=INGEST_ROUTES,
        also=lambda _: _kept("archive", spread.copier.run),
    )


async def run_detect(options: SpreadOptions) -> None:
    """Own sorties, as many as fall to this process, and make their events."""
    spread = await _open(options, "detect")

    async def roster(supervisor: Supervisor | None) -> None:
        assert supervisor is not None
        await _kept("roster", Roster(spread.ports, supervisor).run)

    await _serve(spread, options, routers=DETECT_ROUTES, detect=True, also=roster)


async def run_screen(options: SpreadOptions) -> None:
    """Show the screens and answer their requests."""
    spread = await _open(options, "screen")
    await _serve(spread, options, routers=ROUTERS, screen=True)


async def _open(options: SpreadOptions, name: str) -> Spread:
    check_tls(options.certificate, options.key)
    spread = await open_spread(
        nats_url=options.nats_url,
        database_url=options.database_url,
        prefix=options.prefix,
        replicas=options.replicas,
        name=f"spinfloor-{name}",
    )
    if options.first_token:
        try:
            await keep_first_token(spread, options.first_token)
        except BaseException:
            await spread.ports.close()
            raise
    return spread


async def keep_first_token(spread: Spread, secret: str) -> None:
    """Put a control token into the store unless its id is there (perhaps revoked) already. Raises WeakTokenError."""
    identity, dot, rest = secret.partition(".")
    if not (dot and identity.isalnum() and len(rest) >= SHORTEST_SECRET):
        raise WeakTokenError(
            expected=f"a first token of the form id.secret, the secret of at least {SHORTEST_SECRET} characters",
            got="something else",
            now="the service does not start",
        )
    if await spread.ports.tokens.get(identity) is None:
        now = spread.ports.clock.wall_ns()
        await spread.ports.tokens.put(TokenRecord(identity, "first token", Role.CONTROL, hash_of(secret), now))


async def _serve(
    spread: Spread,
    options: SpreadOptions,
    *,
    routers: Sequence[APIRouter],
    detect: bool = False,
    screen: bool = False,
    also: Callable[[Supervisor | None], Coroutine[Any, Any, None]] | None = None,
) -> None:
    listening = options.listening(screen=screen)
    settings, listener, base = await open_door(listening, spread.ports)
    app = create_app(
        spread.ports,
        settings,
        detect=detect,
        mount=screens() if screen else None,
        routers=routers,
        watched=screen,
        pace=SPREAD_PACE,
        also=also,
    )
    server = Server(config_for(app, listening, settings))
    options.told(LISTENING.format(base))
    await server.serve(sockets=[listener])


async def _kept(name: str, work: Callable[[], Awaitable[None]]) -> None:
    """Keep work going: whatever ends it is logged, and it begins anew after a pause."""
    while True:
        try:
            await work()
        except SpinfloorError as error:
            log.warning("begins anew", work=name, reason=error.sentence)
        # A defect here must not end the process's service for good.
        except Exception:
            log.exception("begins anew", work=name)
        await asyncio.sleep(AGAIN_AFTER_S)
