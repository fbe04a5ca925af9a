"""`spinfloor report`: a sortie's report as a file."""

from __future__ import annotations

import asyncio
import os
from pathlib import Path

import click


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(report)


@click.command()
@click.argument("sortie")
@click.option("--from", "base", default="http://127.0.0.1:8000", show_default=True, help="The service.")
@click.option("--format", "form", type=click.Choice(["html", "pdf"]), default="html", show_default=True)
@click.option("--out", type=click.Path(path_type=Path), help="Default: SORTIE.html or SORTIE.pdf here.")
@click.option("--token", default=lambda: os.environ.get("SPINFLOOR_TOKEN"), help="Default: SPINFLOOR_TOKEN.")
def report(sortie: str, base: str, form: str, out: Path | None, token: str | None) -> None:
    """Write the report of SORTIE: spins, verdicts, calls, plan, evidence, with the cautions."""
    from spinfloor.adapters.exports.files import write_whole

    target = out or Path(f"{sortie}.{form}")
    write_whole(target, asyncio.run(_fetch(sortie, base, form, token)))
    click.echo(f"spinfloor: {target}", err=True)


async def _fetch(sortie: str, base: str, form: str, token: str | None) -> bytes:
    from spinfloor.client import Client

    async with Client(base, token=token) as client:
        return await client.report(sortie, form=form)
