"""`spinfloor doctor`: is this machine fit to watch a sortie?"""

from __future__ import annotations

from pathlib import Path

import click


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(doctor)


@click.command()
@click.option("--data", type=click.Path(path_type=Path), default=Path("var"), show_default=True, help="Data folder.")
@click.option("--port", type=click.IntRange(1, 65535), default=8000, show_default=True, help="Port to be used.")
def doctor(data: Path, port: int) -> int:
    """Examine the machine: kernel, disk, space, clock, sounds, port.

    Ends with 1 when something is not fit.
    """
    from spinfloor.doctor import examine

    fit = True
    for finding in examine(data, port):
        click.echo(f"{'ok ' if finding.good else 'NOT'} {finding.check:8} {finding.sentence}")
        fit = fit and finding.good
    click.echo("fit to watch" if fit else "not fit to watch: see the lines marked NOT")
    return 0 if fit else 1
