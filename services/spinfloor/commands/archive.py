"""`spinfloor archive export` and `archive import`: a sortie as one file, out of one service and into another."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import Any

import click

from spinfloor.commands._saying import say
from spinfloor.commands._service_options import service_option, token_option


def register(group: click.Group) -> None:
    """Add the commands."""
    group.add_command(archive)


@click.group()
def archive() -> None:
    """Take a sortie out of a service as one file, or in from one."""


@archive.command()
@click.argument("sortie")
@service_option("--from")
@click.option("--out", type=click.Path(path_type=Path), help="Default: SORTIE.zip here.")
@token_option
def export(sortie: str, base: str, out: Path | None, token: str | None) -> None:
    """Write the archive of SORTIE."""
    from spinfloor.adapters.exports.files import write_whole

    target = out or Path(f"{sortie}.zip")
    data = asyncio.run(_fetch(sortie, base, token))
    write_whole(target, data)
    say(f"{target}, {len(data)} bytes")


@archive.command(name="import")
@click.argument("file", type=click.Path(path_type=Path))
@service_option("--to")
@click.option("--as", "sortie", help="Import under this id. Default: the sortie's own.")
@click.option("--keep-differences", is_flag=True, help="Import also when the same detector makes other events.")
@token_option
def import_(file: Path, base: str, sortie: str | None, keep_differences: bool, token: str | None) -> None:
    """Import the archive FILE: checked, its events made again and compared.

    Exit code 0 when the events are the same or were flown with another detector; 1 when they differ (nothing is
    imported without --keep-differences); 2 for a damaged file or an id that is taken. Nothing is half imported.
    """
    done = asyncio.run(_send(_read(file), base, sortie, keep_differences, token))
    say(f"{done['sortie']}: {done['inputs']} inputs, {done['frames']} frames imported; {done['words']}.")


def _read(file: Path) -> bytes:
    from spinfloor.adapters.sortie_file.layout import ArchiveMissingError

    try:
        return file.read_bytes()
    except OSError as error:
        raise ArchiveMissingError(
            expected="an archive that can be read", got=f"{file}: {error.strerror or error}", now="nothing was imported"
        ) from error


async def _fetch(sortie: str, base: str, token: str | None) -> bytes:
    from spinfloor.client import Client

    async with Client(base, token=token) as client:
        return await client.archive(sortie)


async def _send(data: bytes, base: str, sortie: str | None, keep: bool, token: str | None) -> dict[str, Any]:
    from spinfloor.client import Client, ServiceError

    async with Client(base, token=token) as client:
        try:
            return await client.import_archive(data, sortie=sortie, keep_differences=keep)
        except ServiceError as error:
            if error.problem.get("code") != "not-reproduced":
                raise
            say(error.sentence)
            sys.exit(1)
