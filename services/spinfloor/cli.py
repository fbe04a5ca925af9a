"""The `spinfloor` command: assembles the commands and turns our errors into one sentence and an exit code."""

from __future__ import annotations

import importlib
import io
import sys
from collections.abc import Sequence

import click

from spinfloor import __version__
from spinfloor.config_file import config_option
from spinfloor.core.caution import CAUTION
from spinfloor.core.errors import SpinfloorError

# Modules under spinfloor.commands; each has `register(group: click.Group) -> None`.
COMMAND_MODULES: tuple[str, ...] = (
    "analyse",
    "archive",
    "clips",
    "detect",
    "doctor",
    "ingest",
    "listen",
    "map",
    "plan",
    "rehearse",
    "report",
    "reprocess",
    "screen",
    "send",
    "serve",
    "token",
)


def build() -> click.Group:
    """The whole command tree."""
    group = click.Group(
        name="spinfloor",
        params=[config_option()],
        help="Live spin-test watch. " + CAUTION,
        context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
    )
    click.version_option(__version__, prog_name="spinfloor", message="%(prog)s %(version)s")(group)
    for name in COMMAND_MODULES:
        importlib.import_module(f"spinfloor.commands.{name}").register(group)
    return group


def _write_any_text() -> None:
    """Under every locale: files and pipes get UTF-8, which is what plans and maps are read in; a terminal what it can show."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        if sys.stdout.isatty():
            sys.stdout.reconfigure(errors="backslashreplace")
        else:
            sys.stdout.reconfigure(encoding="utf-8")


def main(arguments: Sequence[str] | None = None) -> None:
    """Entry point. Exit codes: 0 done, 1 the work failed, 2 the request was wrong."""
    _write_any_text()
    try:
        code = build().main(args=arguments, prog_name="spinfloor", standalone_mode=False)
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
    except OSError as error:  # a full disk under standard output, among others
        what = error.strerror or str(error)
        click.echo(f"spinfloor: Expected to read and write what was asked for; got {what}; it ended there.", err=True)
        sys.exit(1)
    sys.exit(code if isinstance(code, int) else 0)


if __name__ == "__main__":
    main()
