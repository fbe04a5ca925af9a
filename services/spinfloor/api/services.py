"""What the routes work with, put together once per process."""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Annotated, Final

from fastapi import Depends
from starlette.requests import HTTPConnection

from spinfloor.api.auth import Authority, Caller, needs
from spinfloor.api.metrics import Metrics
from spinfloor.api.own_names import OwnNames
from spinfloor.api.presence import Presence
from spinfloor.api.settings import Settings
from spinfloor.detect.view import LiveView
from spinfloor.ingest.limits import RateLimit
from spinfloor.ingest.service import Ingest
from spinfloor.ports.bundle import Ports
from spinfloor.ports.tokens import Role

if TYPE_CHECKING:
    from spinfloor.archive.bench import Bench
    from spinfloor.archive.learning import Learner
    from spinfloor.archive.reruns import Reruns
    from spinfloor.replay.service import Replays

ARCHIVES_AT_ONCE: Final = 2  # each takes a thread and disk space for the sortie; others wait


@dataclass(slots=True)
class Services:
    """One set per app."""

    ports: Ports
    settings: Settings
    view: LiveView
    ingest: Ingest
    own_names: OwnNames
    authority: Authority
    presence: Presence
    metrics: Metrics
    rate: RateLimit
    replays: Replays
    learner: Learner
    bench: Bench
    reruns: Reruns
    kernel_ready: asyncio.Event = field(default_factory=asyncio.Event)
    archiving: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(ARCHIVES_AT_ONCE))


def services_of(connection: HTTPConnection) -> Services:
    """The services of the app a request came to."""
    services: Services = connection.app.state.services
    return services


Use = Annotated[Services, Depends(services_of)]
AsSource = Annotated[Caller, Depends(needs(Role.SOURCE))]
AsSourceOrWatch = Annotated[Caller, Depends(needs(Role.SOURCE, Role.WATCH))]
AsWatch = Annotated[Caller, Depends(needs(Role.WATCH))]
AsControl = Annotated[Caller, Depends(needs(Role.CONTROL))]
