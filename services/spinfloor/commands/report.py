"""`spinfloor report`: a sortie's report as a file."""

from __future__ import annotations

import asyncio
from pathlib import Path

import click

from spinfloor.commands._output import STANDARD, write_out
from spinfloor.commands._saying import say
from spinfloor.commands._service_options import service_option, token_option


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(report)


@click.command()
@click.argument("sortie")
@service_option("--from")
@click.option(
    "--format", "form", type=click.Choice(["html", "pdf"]), help="Default: what the name of --out ends with, else html."
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Default: SORTIE.html or SORTIE.pdf here. -: standard output."
)
@token_option
def report(sortie: str, base: str, form: str | None, out: Path | None, token: str | None) -> None:
    """Write the report of SORTIE as a page or a PDF.

    Spins, verdicts, calls, plan, evidence, with the cautions.
    """
    form = form or ("pdf" if out is not None and out.suffix.lower() == ".pdf" else "html")
    target = out or Path(f"{sortie}.{form}")
    write_out(asyncio.run(_fetch(sortie, base, form, token)), target)
    if target != STANDARD:
        say(str(target))


async def _fetch(sortie: str, base: str, form: str, token: str | None) -> bytes:
    from spinfloor.client import Client

    async with Client(base, token=token) as client:
        return await client.report(sortie, form=form)
