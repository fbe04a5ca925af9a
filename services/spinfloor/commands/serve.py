"""`spinfloor serve`: everything in one process."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from spinfloor.commands._limits import limit_options, limits_of

SWITCH_INTERVAL_S = 0.0005  # the writer's thread needs the interpreter for microseconds; the default makes it wait 5 ms


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(serve)


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, envvar="SPINFLOOR_HOST")
@click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True, envvar="SPINFLOOR_PORT")
@click.option(
    "--data", type=click.Path(path_type=Path), default=Path("var"), show_default=True, envvar="SPINFLOOR_DATA",
    help="Folder of the database.",
)  # fmt: skip
@click.option("--demo", is_flag=True, help="Replay a recording of an invented programme into a rehearsal sortie.")
@click.option(
    "--recordings", multiple=True, type=click.Path(path_type=Path, exists=True, file_okay=False),
    help="More folders of recordings to rehearse with.",
)  # fmt: skip
@click.option(
    "--clips", type=click.Path(path_type=Path, exists=True, file_okay=False), envvar="SPINFLOOR_CLIPS",
    help="Folder of a plan's own recorded call words, made by `spinfloor clips`.",
)  # fmt: skip
@click.option("--origin", "origins", multiple=True, help="Another origin whose pages may send changes.")
@click.option("--tls-certificate", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--tls-key", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--no-screen", is_flag=True, help="The service alone, without the screens.")
@limit_options
def serve(
    host: str,
    port: int,
    data: Path,
    demo: bool,
    recordings: tuple[Path, ...],
    clips: Path | None,
    origins: tuple[str, ...],
    tls_certificate: Path | None,
    tls_key: Path | None,
    no_screen: bool,
    **limits: Any,
) -> None:
    """Ingest, detectors, screens and SQLite in this process. Listens on loopback; any other address needs tokens."""
    from spinfloor.event_loop import run
    from spinfloor.logs import set_up_logs
    from spinfloor.serving import Options, run_service

    sys.setswitchinterval(SWITCH_INTERVAL_S)
    set_up_logs()
    options = Options(
        host=host,
        port=port,
        data=data,
        demo=demo,
        recordings=recordings,
        clips=clips,
        origins=origins,
        certificate=tls_certificate,
        key=tls_key,
        screen=not no_screen,
        limits=limits_of(limits),
        told=lambda line: click.echo(line, err=True),
    )
    run(run_service(options))
