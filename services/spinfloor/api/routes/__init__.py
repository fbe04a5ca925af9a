"""The routes, one file per resource; `ROUTERS` in the order they are tried."""

from fastapi import APIRouter

from spinfloor.api.routes import (
    archives,
    beliefs,
    events,
    frames,
    live,
    marks,
    meta,
    notes,
    planning,
    programme,
    replays,
    report,
    reruns,
    runs,
    scores,
    session,
    sorties,
    spins,
    tokens,
)

ROUTERS: tuple[APIRouter, ...] = (
    meta.router,
    session.router,
    tokens.router,
    planning.router,
    sorties.router,
    frames.router,
    events.router,
    live.router,
    marks.router,
    notes.router,
    spins.router,
    report.router,
    programme.router,
    replays.router,
    scores.router,
    runs.router,
    reruns.router,
    archives.router,
    beliefs.router,
)
