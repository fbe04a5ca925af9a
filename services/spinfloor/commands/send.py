"""`spinfloor send`: a recording as a telemetry source, for links, rehearsals and demonstrations."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING

import click

from spinfloor.commands._finite import FiniteRange
from spinfloor.commands._saying import say
from spinfloor.commands._service_options import token_option

if TYPE_CHECKING:
    from spinfloor.sender import Progress


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(send)


@click.command()
@click.argument("recording", type=click.Path(path_type=Path))
@click.option("--to", "base", required=True, help="The service, e.g. http://127.0.0.1:8000")
@click.option("--sortie", required=True, help="Sortie to send into; it is created when --plan is given.")
@click.option("--plan", "plan_path", type=click.Path(path_type=Path), help="Create the sortie with this plan first.")
@click.option("--speed", type=FiniteRange(min=0.0), default=1.0, show_default=True, help="0: as fast as it goes.")
@click.option("--source", default="send", show_default=True, help="Name of the source; a resumed sending keeps it.")
@token_option
def send(
    recording: Path, base: str, sortie: str, plan_path: Path | None, speed: float, source: str, token: str | None
) -> None:
    """Send RECORDING frame by frame in its own time.

    A broken connection is taken up again without loss.
    """
    progress = asyncio.run(_send(recording, base, sortie, plan_path, speed, source, token))
    say(
        f"{progress.acked} batches acknowledged, {progress.frames} frames taken, "
        f"{progress.duplicates} repeated, {progress.rejected} rows rejected, {progress.reconnects} reconnections"
    )


async def _send(
    recording: Path, base: str, sortie: str, plan_path: Path | None, speed: float, source: str, token: str | None
) -> Progress:
    from spinfloor.adapters.plan_files import load_plan
    from spinfloor.adapters.recordings import read_recording
    from spinfloor.adapters.system_clock import SystemClock
    from spinfloor.client import Client
    from spinfloor.commands.doubts import told
    from spinfloor.core.plan.load import plan_to_data
    from spinfloor.sender import Sender

    async with Client(base, token=token) as client:
        if plan_path is not None:
            await client.create_sortie(plan_to_data(load_plan(plan_path)), sortie=sortie)
        channel_map = await client.channel_map(sortie)
        taken = await asyncio.to_thread(read_recording, recording, channel_map)
        for sentence in told(taken):
            say(sentence)
        sender = Sender(client, sortie, taken.block, SystemClock(), source=source, speed=speed, told=say)
        return await sender.run()
