"""`spinfloor detect`: make the events of as many sorties as fall to this process."""

from __future__ import annotations

from typing import Any

import click

from spinfloor.commands._spread_options import run_part, spread_options


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(detect)


@click.command()
@spread_options
def detect(**given: Any) -> None:
    """Make the events of as many sorties as fall to this process."""
    run_part("detect", **given)
