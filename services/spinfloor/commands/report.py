"""`spinfloor report`: a sortie's report as a file."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from spinfloor.commands._saying import say
from spinfloor.commands._service_options import service_option, token_option


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(report)


@click.command()
@click.argument("sortie")
@service_option("--from")
@click.option("--format", "form", type=click.Choice(["html", "pdf"]), default="html", show_default=True)
@click.option("--out", type=click.Path(path_type=Path), help="Default: SORTIE.html or SORTIE.pdf here.")
@token_option
def report(sortie: str, base: str, form: str, out: Path | None, token: str | None) -> None:
    """Write the report of SORTIE as a page or a PDF.

    Spins, verdicts, calls, plan, evidence, with the cautions.
    """
    from spinfloor.adapters.exports.files import write_whole

    target = out or Path(f"{sortie}.{form}")
    write_whole(target, asyncio.run(_fetch(sortie, base, form, token)))
    say(str(target))


async def _fetch(sortie: str, base: str, form: str, token: str | None) -> bytes:
    from spinfloor.client import Client

    async with Client(base, token=token) as client:
        return await client.report(sortie, form=form)
