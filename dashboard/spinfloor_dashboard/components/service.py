"""The one way from a Dash callback to the service: the typed client, bound to the mounted API."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from spinfloor.client import Client

_base: str = ""


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

    return Client(_base)
