"""The `spinfloor` command: assembles the commands and turns our errors into one sentence and an exit code."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence

import click
import typer

from spinfloor import __version__
from spinfloor.core.errors import SpinfloorError

# module under spinfloor.commands; each has `register(app: typer.Typer) -> None`
COMMAND_MODULES: tuple[str, ...] = ()

CAUTION = (
    "spinfloor advises. The crew, the test conductor and the approved test plan decide; "
    "the operator's procedures and the applicable regulations come first."
)


def build() -> typer.Typer:
    """The whole command tree."""
    app = typer.Typer(
        name="spinfloor", help="Live spin-test watch. " + CAUTION, no_args_is_help=True, pretty_exceptions_enable=False
    )

    @app.callback()
    def top(
        version: bool = typer.Option(False, "--version", help="Print the version and stop.", is_eager=True),
    ) -> None:
        if version:
            typer.echo(f"spinfloor {__version__}")
            raise typer.Exit

    for name in COMMAND_MODULES:
        importlib.import_module(f"spinfloor.commands.{name}").register(app)
    return app


def main(arguments: Sequence[str] | None = None) -> None:
    """Entry point. Exit codes: 0 done, 1 the work failed, 2 the request was wrong."""
    command = typer.main.get_command(build())
    try:
        code = command.main(args=list(sys.argv[1:] if arguments is None else arguments), standalone_mode=False)
    except SpinfloorError as error:
        click.echo(f"spinfloor: {error.sentence}", err=True)
        sys.exit(error.exit_code)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except click.Abort:
        sys.exit(1)
    except BrokenPipeError:
        sys.exit(0)
    sys.exit(code if isinstance(code, int) else 0)
