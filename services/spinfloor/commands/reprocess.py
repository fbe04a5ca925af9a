"""`spinfloor reprocess`: sorties through the detector again, as runs of their own."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from spinfloor.commands._saying import say
from spinfloor.commands._service_options import service_option, token_option

if TYPE_CHECKING:
    from spinfloor.client import Client

POLL_S = 0.3


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(reprocess)


@click.command()
@click.argument("sorties", metavar="[SORTIE]...", nargs=-1)
@click.option("--all", "everything", is_flag=True, help="All flights of the service.")
@click.option("--aircraft", help="All flights of one aircraft.")
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="PATH=VALUE",
    help="A change of the plan, e.g. aircraft.stall_alpha_upright_deg=18; may be given more than once.",
)
@click.option(
    "--plan", "plan_path", type=click.Path(path_type=Path), help="Changes of the plan from a YAML or JSON file."
)
@click.option("--beliefs", type=click.Choice(["as flown", "priors", "now"]), default="as flown", show_default=True)
@service_option("--from")
@click.option("--by", default="control room", show_default=True, help="The crew role that asks for it.")
@click.option("--json", "as_json", is_flag=True, help="Print results and differences as JSON.")
@token_option
def reprocess(
    sorties: tuple[str, ...], everything: bool, aircraft: str | None, settings: tuple[str, ...], plan_path: Path | None,
    beliefs: str, base: str, by: str, as_json: bool, token: str | None,
) -> None:  # fmt: skip
    """Put SORTIEs (or --all flights) through today's detector.

    The flown runs stay as they are and in force. What differs goes to standard output as a table. Exit code 0 when
    every sortie was reprocessed, 1 when one failed or the work was ended, 2 for a wrong request.
    """
    if (bool(sorties) + everything + (aircraft is not None)) != 1:
        raise click.UsageError("name sorties, or give --all, or --aircraft NAME")
    wanted: dict[str, Any] = {"plan": changes(plan_path, settings), "beliefs": beliefs, "by": by}
    wanted |= {"all": True} if everything else {"aircraft": aircraft} if aircraft else {"sorties": list(sorties)}
    done = asyncio.run(_run(base, token, wanted))
    _tell(done, as_json)
    if done["state"] != "done" or any(one["state"] != "done" for one in done["sorties"]):
        sys.exit(1)


def changes(path: Path | None, settings: tuple[str, ...]) -> dict[str, Any]:
    """The merge patch: of a file, then of each PATH=VALUE (a YAML value)."""
    import yaml

    from spinfloor.archive.rerun_model import merged

    patch: Any = {}
    if path is not None:
        try:
            patch = yaml.safe_load(path.read_text(encoding="utf-8")) or {}
        except (OSError, UnicodeDecodeError, yaml.YAMLError) as error:
            raise click.BadParameter(str(error).split("\n", 1)[0], param_hint="--plan") from error
        if not isinstance(patch, dict):
            raise click.BadParameter("a mapping is needed", param_hint="--plan")
    for text in settings:
        name, equals, value = text.partition("=")
        if not equals or not name:
            raise click.BadParameter(f"{text!r} is not PATH=VALUE", param_hint="--set")
        try:
            one: Any = yaml.safe_load(value)
        except yaml.YAMLError as error:
            raise click.BadParameter(f"{value!r} is no value", param_hint="--set") from error
        for part in reversed(name.split(".")):
            one = {part: one}
        patch = merged(patch, one)
    return dict(patch)


async def _run(base: str, token: str | None, wanted: dict[str, Any]) -> dict[str, Any]:
    from spinfloor.client import Client

    async with Client(base, token=token) as client:
        job = await client.start_rerun(**wanted)
        told = ""
        while True:
            words = f"{job['sorties_done']} of {len(job['sorties'])} sorties, {job['frames_done']:,} frames"
            if words != told:
                say(words)
                told = words
            if job["state"] != "running":
                break
            await asyncio.sleep(POLL_S)
            job = await client.rerun(job["id"])
        for one in job["sorties"]:
            await _with_differences(client, one)
        return job


async def _with_differences(client: Client, one: dict[str, Any]) -> None:
    if one["state"] == "done" and not one["same"] and one["flown"]:
        one["differences"] = await client.run_differences(one["sortie"], one["flown"], one["run"])


def _tell(job: dict[str, Any], as_json: bool) -> None:
    if as_json:
        import orjson

        click.echo(orjson.dumps(job, option=orjson.OPT_INDENT_2).decode())
        return
    for one in job["sorties"]:
        click.echo(_line(one))
        for row in rows(one.get("differences")):
            click.echo("  " + "  ".join(f"{cell:<28}" for cell in row).rstrip())


def _line(one: dict[str, Any]) -> str:
    if one["state"] != "done":
        return f"{one['sortie']}: {one['state']}: {one['problem'] or 'ended before its turn'}"
    if one["same"]:
        return f"{one['sortie']}: the same events as the flown run {one['flown']}; nothing was stored"
    return (
        f"{one['sortie']}: {one['run']} beside the flown {one['flown']}: "
        f"{one['spins_changed']} spins and {one['calls_changed']} calls differ"
    )


def rows(differences: dict[str, Any] | None) -> list[tuple[str, str, str]]:
    """The table of differences: what, in the flown run, in the rerun."""
    if differences is None:
        return []
    found = [(f"spin {d['spin']} {d['what']}", str(d["before"]), str(d["after"])) for d in differences["spins"]]
    found += [(f"call {d['words']}", _time(d["before_ns"]), _time(d["after_ns"])) for d in differences["calls"]]
    return [("what", "flown", "rerun"), *found]


def _time(time_ns: int | None) -> str:
    from datetime import UTC, datetime

    if time_ns is None:
        return "not made"
    return f"{datetime.fromtimestamp(time_ns * 1e-9, UTC):%H:%M:%S.%f}"[:-3]
