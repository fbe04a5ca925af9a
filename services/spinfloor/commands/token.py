"""`spinfloor token`: who may send, watch or control when the service listens beyond this machine."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from spinfloor.commands._finite import FiniteRange

if TYPE_CHECKING:
    from spinfloor.ports.bundle import Ports
    from spinfloor.ports.tokens import TokenRecord

DATA = click.option(
    "--data", type=click.Path(path_type=Path), default=Path("var"), show_default=True, envvar="SPINFLOOR_DATA",
    help="Folder of the database; the service must not be running on it.",
)  # fmt: skip


def register(group: click.Group) -> None:
    """Add the commands."""
    group.add_command(token)


@click.group()
def token() -> None:
    """Make, list and revoke tokens. Only their hashes are kept."""


@token.command()
@click.argument("name")
@click.option("--role", type=click.Choice(["source", "watch", "control"]), required=True)
@click.option("--days", type=FiniteRange(min=0.0), default=0.0, help="Days it lasts; 0: until revoked.")
@DATA
def add(name: str, role: str, days: float, data: Path) -> None:
    """Make a token for NAME (a crew role or a link, no person) and print its secret, once."""
    click.echo(asyncio.run(_add(name, role, days, data)))


@token.command("list")
@DATA
def list_tokens(data: Path) -> None:
    """List tokens, never their secrets."""
    now_ns, records = asyncio.run(_all(data))
    for record in records:
        click.echo(f"{record.id}  {record.role.value:8} {_state(record, now_ns):32} {record.name}")


@token.command()
@click.argument("token_id")
@DATA
def revoke(token_id: str, data: Path) -> None:
    """End the token with this id at once."""
    asyncio.run(_revoke(token_id, data))
    click.echo(f"revoked {token_id}")


def _state(record: TokenRecord, now_ns: int) -> str:
    if record.revoked_ns:
        return f"revoked {_stamp(record.revoked_ns)}"
    if not record.expires_ns:
        return "in force"
    return f"{'until' if record.in_force(now_ns) else 'over since'} {_stamp(record.expires_ns)}"


def _stamp(time_ns: int) -> str:
    return f"{datetime.fromtimestamp(time_ns * 1e-9, UTC):%Y-%m-%d %H:%M} UTC"


@asynccontextmanager
async def _store(data: Path) -> AsyncIterator[Ports]:
    from spinfloor.adapters.sqlite import open_store

    ports = await asyncio.to_thread(open_store, data)
    try:
        yield ports
    finally:
        await ports.close()


async def _add(name: str, role: str, days: float, data: Path) -> str:
    from spinfloor.api.auth import make_token
    from spinfloor.ports.tokens import Role

    async with _store(data) as ports:
        secret, record = make_token(name, Role(role), now_ns=ports.clock.wall_ns(), lasts_s=days * 86_400.0)
        await ports.tokens.put(record)
    return secret


async def _all(data: Path) -> tuple[int, list[TokenRecord]]:
    """(now, every token)."""
    async with _store(data) as ports:
        return ports.clock.wall_ns(), await ports.tokens.list_all()


async def _revoke(token_id: str, data: Path) -> None:
    async with _store(data) as ports:
        record = await ports.tokens.get(token_id)
        if record is None:
            raise click.BadParameter(f"no token has the id {token_id!r}", param_hint="TOKEN_ID")
        await ports.tokens.put(replace(record, revoked_ns=ports.clock.wall_ns()))
