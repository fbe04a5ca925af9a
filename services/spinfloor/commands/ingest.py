"""`spinfloor ingest`: take frames and marks in, put them on disk, acknowledge, archive."""

from __future__ import annotations

from typing import Any

import click

from spinfloor.commands._spread_options import run_part, spread_options


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(ingest)


@click.command()
@spread_options
def ingest(**given: Any) -> None:
    """Take frames and marks in, acknowledge them on disk, archive."""
    run_part("ingest", **given)
