"""`spinfloor analyse`: a recording through the detector, its events to standard output."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from spinfloor.commands._output import write_out
from spinfloor.commands._saying import say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from spinfloor.adapters.recordings import Recording
    from spinfloor.core.events import Event
    from spinfloor.core.plan.model import Plan


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(analyse)


@click.command()
@click.argument("recording", type=click.Path(path_type=Path))
@click.option(
    "--plan", "plan_path", type=click.Path(path_type=Path), help="Plan, YAML or JSON. Default: a built-in one."
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["ndjson", "json", "csv", "parquet", "arrow"]),
    help="Form of the events. Default: what the name of --out ends with (csv, parquet, arrow), else ndjson.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Write the events to this file. Default, or -: standard output."
)
@click.option("--sortie", help="Name of the sortie in the events. Default: the recording's file name.")
def analyse(recording: Path, plan_path: Path | None, form: str | None, out: Path | None, sortie: str | None) -> None:
    """Find the spins in RECORDING and print every event.

    RECORDING may be a pipe, and - is standard input. Only events go to standard output; what could not be read of the
    recording is listed on standard error.
    """
    from spinfloor.adapters.exports import Format, encode_events
    from spinfloor.adapters.recordings import read_recording

    plan = _plan(plan_path)
    taken = read_recording(recording, plan.channel_map)
    _tell(taken)
    events = _run(taken, plan, sortie or ("stdin" if recording == Path("-") else recording.stem))
    write_out(encode_events([e.as_record() for e in events], Format(form or _form_of(out))), out)


def _form_of(out: Path | None) -> str:
    ending = "" if out is None else out.suffix.lower().lstrip(".")
    return ending if ending in ("csv", "parquet", "arrow") else "ndjson"


def _plan(path: Path | None) -> Plan:
    from spinfloor.core.plan.defaults import DEFAULT_PLAN_WORDS, default_plan

    if path is None:
        say(f"{DEFAULT_PLAN_WORDS}.")
        return default_plan()
    from spinfloor.adapters.plan_files import load_plan

    return load_plan(path)


def _tell(recording: Recording) -> None:
    from spinfloor.commands.doubts import told

    for sentence in told(recording):
        say(sentence)


def _run(recording: Recording, plan: Plan, sortie: str) -> Sequence[Event]:
    from spinfloor.core.detector.detector import Detector
    from spinfloor.detect.recorded import feed_recorded

    detector = Detector(sortie=sortie, plan=plan)
    return feed_recorded(detector, recording.block, data_age_limit_s=plan.timing.data_age_limit_s)
