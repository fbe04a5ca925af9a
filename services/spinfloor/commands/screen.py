"""`spinfloor screen`: the screens, over detectors that run elsewhere."""

from __future__ import annotations

from typing import Any

import click

from spinfloor.commands._spread_options import run_part, spread_options


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(screen)


@click.command()
@spread_options
def screen(**given: Any) -> None:
    """The screens, over detectors that run elsewhere."""
    run_part("screen", **given)
