"""The one way from a Dash callback to the service: the typed client, as a rule of the app in this very process.

A callback asks with the session of the browser that caused it, so that a page shows and does what its user may.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from spinfloor.client import Client

SESSION_HEADERS: Final = (b"cookie", b"x-csrf-token")
_app: Any = None
_base: str = ""
_session: ContextVar[dict[str, str]] = ContextVar("session")


def reach(app: Any, api_base: str = "") -> None:
    """Remember how the service is reached: in this process, or at an address. One process shows one service."""
    global _app, _base
    _app, _base = app, api_base.rstrip("/")


def client() -> Client:
    """A client of the service. Use it as an async context manager inside an `async def` callback."""
    from spinfloor.client import Client

    headers = _session.get({})
    return Client(_base, headers=headers) if _base else Client.inside(_app, headers=headers)


def remember_session(headers: Iterable[tuple[bytes, bytes]]) -> None:
    """Keep the session of the request being answered, for the clients made while answering it."""
    _session.set({name.decode(): value.decode("latin-1") for name, value in headers if name in SESSION_HEADERS})
