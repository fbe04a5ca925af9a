"""`spinfloor clips`: records the call words of a plan that the package has no recording of."""

from __future__ import annotations

from pathlib import Path

import click

from spinfloor.commands._saying import say


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(clips)


@click.command()
@click.argument("plan", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path, file_okay=False), required=True, help="Folder for the clips.")
def clips(plan: Path, out: Path) -> None:
    """Record PLAN's own call words into a folder.

    For `spinfloor serve --clips FOLDER`. Needs the espeak-ng program, here only. A call whose words have no recording
    sounds as its tone and is shown as text. Listen to the clips before the sortie: whether a word is understood is for
    the crew and the test conductor.
    """
    from spinfloor_dashboard.sound_builder import build, plan_phrases

    phrases = plan_phrases(plan)
    build(out, phrases, with_tones=False)
    said = ", ".join(repr(phrase) for phrase in phrases) or "none; every word of the plan is recorded already"
    say(f"{len(phrases)} phrases in {out}: {said}")
