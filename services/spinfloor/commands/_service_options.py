"""The options of the commands that speak to a running service."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

token_option: Decorator = click.option("--token", envvar="SPINFLOOR_TOKEN", help="Default: SPINFLOOR_TOKEN.")


def service_option(flag: str) -> Decorator:
    """Where the service is, with the default address of `spinfloor serve`: `--from` to read, `--to` to write."""
    return click.option(flag, "base", default="http://127.0.0.1:8000", show_default=True, help="The service.")
