"""`spinfloor map suggest`: what a recording holds, as a channel map to be completed."""

from __future__ import annotations

from pathlib import Path

import click


def register(group: click.Group) -> None:
    """Add the commands."""
    group.add_command(channel_map)


@click.group(name="map")
def channel_map() -> None:
    """Work with channel maps: a source's own names and units."""


@channel_map.command()
@click.argument("file", type=click.Path(path_type=Path))
def suggest(file: Path) -> None:
    """List the channels of FILE and print a channel map to complete.

    Units are copied where the file states them and left open where it does not; none is guessed.
    """
    from spinfloor.adapters.recordings.suggest import suggest as suggested

    click.echo(suggested(file), nl=False)
