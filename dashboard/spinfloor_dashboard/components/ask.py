"""One question to the service from a callback: the answer, or the sentence to show instead. Never an exception."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from spinfloor_dashboard.components import service

if TYPE_CHECKING:
    from spinfloor.client import Client

UNREACHABLE = "The service does not answer; nothing here is up to date until it does. It will be asked again."


async def ask(question: Callable[[Client], Awaitable[Any]]) -> tuple[Any, str | None]:
    """(answer, None) or (None, sentence)."""
    import httpx
    from spinfloor.client import ClientError

    try:
        async with service.client() as client:
            return await question(client), None
    except ClientError as exc:
        return None, str(exc)
    except httpx.HTTPError:
        return None, UNREACHABLE
