"""The one way from a Dash callback to the service: the typed client, bound to the mounted API.

A callback asks with the session of the browser that caused it, so that a page shows and does what its user may.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextvars import ContextVar
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from spinfloor.client import Client

SESSION_HEADERS: Final = (b"cookie", b"x-csrf-token")
_base: str = ""
_session: ContextVar[dict[str, str]] = ContextVar("session")


def set_base(api_base: str) -> None:
    """Remember where the service answers; `mount` calls it. One process shows one service."""
    global _base
    _base = api_base.rstrip("/")


def base() -> str:
    """Where the service answers, without a trailing slash."""
    return _base


def client() -> Client:
    """A client bound to the mounted API. Use it as an async context manager inside an `async def` callback."""
    from spinfloor.client import Client

    return Client(_base, headers=_session.get({}))


def remember_session(headers: Iterable[tuple[bytes, bytes]]) -> None:
    """Keep the session of the request being answered, for the clients made while answering it."""
    _session.set({name.decode(): value.decode("latin-1") for name, value in headers if name in SESSION_HEADERS})
