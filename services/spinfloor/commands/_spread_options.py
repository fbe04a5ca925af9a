"""The options that the three parts have in common."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, Literal

import click

from spinfloor.commands._limits import limit_options, limits_of
from spinfloor.core.errors import SpinfloorError

Part = Literal["ingest", "detect", "screen"]
DRIVERS: Final = ("nats", "asyncpg")

OPTIONS: tuple[Callable[[Any], Any], ...] = (
    click.option(
        "--nats-url",
        required=True,
        envvar="SPINFLOOR_NATS_URL",
        help="Message servers, by commas. Holds a secret: use the environment.",
    ),
    click.option(
        "--database-url",
        required=True,
        envvar="SPINFLOOR_DATABASE_URL",
        help="Archive database. Holds a secret: use the environment.",
    ),
    click.option(
        "--prefix",
        default="spinfloor",
        show_default=True,
        envvar="SPINFLOOR_PREFIX",
        help="Begins the name of every stream; letters and digits.",
    ),
    click.option(
        "--replicas",
        type=click.Choice(["1", "3", "5"]),
        default="1",
        show_default=True,
        envvar="SPINFLOOR_REPLICAS",
        help="Copies of each stream among the message servers.",
    ),
    click.option("--host", default="127.0.0.1", show_default=True, envvar="SPINFLOOR_HOST"),
    click.option("--port", type=click.IntRange(0, 65535), default=8000, show_default=True, envvar="SPINFLOOR_PORT"),
    click.option(
        "--first-token",
        envvar="SPINFLOOR_FIRST_TOKEN",
        help="A control token, id.secret, stored if its id is new. A secret: use the environment.",
    ),
    click.option("--origin", "origins", multiple=True, help="Another origin whose pages may send changes."),
    click.option("--tls-certificate", "certificate", type=click.Path(path_type=Path, exists=True, dir_okay=False)),
    click.option("--tls-key", "key", type=click.Path(path_type=Path, exists=True, dir_okay=False)),
)


def spread_options(command: Callable[..., None]) -> Callable[..., None]:
    """Add the common options to a command."""
    command = limit_options(command)
    for option in reversed(OPTIONS):
        command = option(command)
    return command


class NotInstalledError(SpinfloorError):
    """A plain installation can run everything in one process only."""

    code = "part-not-installed"
    exit_code = 1


def run_part(part: Part, *, prefix: str, replicas: str, **given: Any) -> None:
    """Set up logs and run until told to stop."""
    from spinfloor.event_loop import run as run_loop
    from spinfloor.logs import set_up_logs

    try:
        from spinfloor import serving_spread
    except ModuleNotFoundError as error:
        if (error.name or "").partition(".")[0] not in DRIVERS:
            raise
        raise NotInstalledError(
            expected="the drivers of the message server and of the archive database",
            got=f"an installation without {error.name}",
            now="nothing was started; install spinfloor[spread]",
        ) from error
    if not prefix.isalnum():
        raise click.BadParameter("only letters and digits", param_hint="--prefix")
    set_up_logs()
    told = functools.partial(click.echo, err=True)
    options = serving_spread.SpreadOptions(
        prefix=prefix, replicas=int(replicas), told=told, limits=limits_of(given), **given
    )
    runs = {
        "ingest": serving_spread.run_ingest,
        "detect": serving_spread.run_detect,
        "screen": serving_spread.run_screen,
    }
    run_loop(runs[part](options))
