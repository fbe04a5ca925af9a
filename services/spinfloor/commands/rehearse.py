"""`spinfloor rehearse`: a recording played as if it came from the aircraft, with things going wrong, and its score."""

from __future__ import annotations

import asyncio
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click
from click.shell_completion import CompletionItem

from spinfloor.commands._finite import FiniteRange
from spinfloor.commands._saying import say
from spinfloor.commands._service_options import token_option

if TYPE_CHECKING:
    from spinfloor.client import Client

LOOK_EVERY_S: Final = 0.2


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(rehearse)


@dataclass(frozen=True, slots=True)
class _Asked:
    recording: str | None
    options: dict[str, Any]
    form: str


def _names_or_files(_: click.Context, __: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """For the shell: the recordings that come with the product, and files."""
    from spinfloor.replay.library import own_recordings, read_library

    own = own_recordings()
    entries = read_library([own]) if own is not None else []
    names = [CompletionItem(entry.id, help=entry.title) for entry in entries if entry.id.startswith(incomplete)]
    return [CompletionItem(incomplete, type="file"), *names]  # the file first: bash forgets what came before it


@click.command()
@click.argument("recording", required=False, shell_complete=_names_or_files)
@click.option("--on", "base", help="A running service, e.g. http://127.0.0.1:8000. Default: one is started for this.")
@click.option("--plan", "plan_path", type=click.Path(path_type=Path), help="Default: the recording's own plan.")
@click.option("--speed", type=FiniteRange(0.1, 10.0), default=1.0, show_default=True, help="Times real time.")
@click.option("--crew", type=click.IntRange(-5, 5), default=0, show_default=True,
              help="Turns by which the crew begins each recovery later (negative: earlier) than recorded.")  # fmt: skip
@click.option("--fault", "faults", multiple=True,
              help="What goes wrong, KIND[:CHANNEL][=AMOUNT][@FROM-[TO]]: loss@8-12, delay=2@5-, "
              "clip:yaw_rate_dps=100, bias:alpha_deg=5, stuck:roll_rate_dps@9-. May be given several times.")  # fmt: skip
@click.option("--sortie", help="Name of the rehearsal sortie. Default: one is made up.")
@click.option("--format", "form", type=click.Choice(["text", "json"]), default="text", show_default=True)
@click.option("--data", type=click.Path(path_type=Path), help="Folder of the started service. Default: not kept.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port of the started service. Default: any.")
@token_option
def rehearse(
    recording: str | None, base: str | None, plan_path: Path | None, speed: float, crew: int, faults: tuple[str, ...],
    sortie: str | None, form: str, data: Path | None, port: int, token: str | None,
) -> None:  # fmt: skip
    """Play RECORDING as if live and print its score sheet.

    Without RECORDING, list what there is.

    RECORDING is the name of a recording the service knows, or a file when the service is started for this. The team
    joins on the Watch screen, whose address is printed; calls made there are scored beside the tool's own.
    """
    from spinfloor.replay.fault_words import fault_from_word

    options: dict[str, Any] = {"speed": speed, "crew_response_turns": crew, "sortie": sortie}
    options["faults"] = [fault_from_word(word).model_dump(exclude_none=True) for word in faults]
    if plan_path is not None:
        from spinfloor.adapters.plan_files import load_plan
        from spinfloor.core.plan.load import plan_to_data

        options["plan"] = plan_to_data(load_plan(plan_path))
    asked = _Asked(recording, {name: value for name, value in options.items() if value is not None}, form)
    text = asyncio.run(_on(base, token, asked) if base else _alone(asked, data, port))
    click.echo(text, nl=False)


async def _on(base: str, token: str | None, asked: _Asked) -> str:
    from spinfloor.client import Client

    async with Client(base, token=token) as client:
        return await _played(client, asked)


async def _alone(asked: _Asked, data: Path | None, port: int) -> str:
    """With a service of its own, which ends with the rehearsal."""
    from spinfloor.logs import set_up_logs

    set_up_logs(least="warning")
    with tempfile.TemporaryDirectory(prefix="spinfloor-") as folder:
        return await _beside_a_service(asked, data or Path(folder), port)


async def _beside_a_service(asked: _Asked, data: Path, port: int) -> str:
    from spinfloor.serving import Options, run_service

    ready: asyncio.Future[str] = asyncio.get_running_loop().create_future()
    done = asyncio.Event()
    recordings, asked = _of_a_file(asked)
    options = Options(
        "127.0.0.1", port, data, recordings=recordings, told=_say, ready=ready.set_result, until=done
    )  # fmt: skip
    serving = asyncio.create_task(run_service(options))
    both: set[asyncio.Future[Any]] = {serving, ready}
    await asyncio.wait(both, return_when=asyncio.FIRST_COMPLETED)
    if serving.done():
        await serving  # raises what kept it from starting
        raise click.Abort
    playing = asyncio.create_task(_on(ready.result(), None, asked))
    await asyncio.wait({serving, playing}, return_when=asyncio.FIRST_COMPLETED)
    if not playing.done():
        playing.cancel()
        await asyncio.gather(playing, return_exceptions=True)
        await serving  # raises what ended it
        raise click.Abort  # Ctrl-C
    done.set()
    await serving
    return await playing


def _of_a_file(asked: _Asked) -> tuple[tuple[Path, ...], _Asked]:
    """A file's folder as a further library, and the file's name in it."""
    path = Path(asked.recording or "")
    if not path.is_file():
        return (), asked
    return (path.resolve().parent,), _Asked(path.stem, asked.options, asked.form)


async def _played(client: Client, asked: _Asked) -> str:
    if asked.recording is None:
        return _listed(await client.recordings(), asked.form)
    replay = await client.start_replay(asked.recording, **asked.options)
    say(f"watch it at {client.base}/?sortie={replay['sortie']}")
    try:
        while replay["state"] != "ended":
            _tell(replay)
            await asyncio.sleep(LOOK_EVERY_S)
            replay = await client.replay(replay["id"])
    except asyncio.CancelledError:
        await client.stop_replay(replay["id"])
        raise
    _tell(replay)
    return _sheet(await client.score(replay["sortie"]), asked.form)


def _say(line: str) -> None:
    click.echo(line, err=True)


def _tell(replay: dict[str, Any]) -> None:
    """How far it is, on one line of a terminal; nothing when standard error is a file."""
    if sys.stderr.isatty():
        share = 100.0 * replay["position_s"] / max(replay["length_s"], 1e-9)
        end = "\n" if replay["state"] == "ended" else ""
        click.echo(
            f"\rspinfloor: {replay['state']}, {share:3.0f} % of {replay['length_s']:.0f} s {end}", err=True, nl=False
        )


def _listed(recordings: list[dict[str, Any]], form: str) -> str:
    if form == "json":
        return _json(recordings)
    return "".join(f"{row['id']}\n    {row['title']}: {row['summary'] or row['file']}\n" for row in recordings)


def _sheet(sheet: dict[str, Any], form: str) -> str:
    from spinfloor.replay.score_text import score_text

    return _json(sheet) if form == "json" else score_text(sheet)


def _json(value: object) -> str:
    import orjson

    return orjson.dumps(value, option=orjson.OPT_INDENT_2).decode() + "\n"
