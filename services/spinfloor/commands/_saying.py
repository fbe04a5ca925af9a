"""What a command says beside its output: on standard error, under the product's name."""

from __future__ import annotations

import click


def say(sentence: str) -> None:
    """One line for the person who gave the command."""
    click.echo(f"spinfloor: {sentence}", err=True)
