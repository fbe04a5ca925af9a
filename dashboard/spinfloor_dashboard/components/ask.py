"""One question to the service from a callback: the answer, or the sentence to show instead. Never an exception."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TYPE_CHECKING, Any

from spinfloor_dashboard.components import service

if TYPE_CHECKING:
    from spinfloor.client import Client

UNREACHABLE = "The service does not answer. What is shown here may be out of date; reload the page to ask again."


async def ask(question: Callable[[Client], Awaitable[Any]]) -> tuple[Any, str | None]:
    """(answer, None) or (None, sentence)."""
    from spinfloor.client import ServiceError, UnreachableError

    try:
        async with service.client() as client:
            return await question(client), None
    except ServiceError as exc:
        return None, exc.sentence
    except UnreachableError:
        return None, UNREACHABLE
