"""`spinfloor listen`: telemetry from a UDP or TCP link into a sortie."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import click

from spinfloor.commands._saying import say
from spinfloor.commands._service_options import token_option

if TYPE_CHECKING:
    from spinfloor.client import Client
    from spinfloor.core.frames import FrameBlock
    from spinfloor.core.plan.channel_map import ChannelMap
    from spinfloor.ingest.links.listener import Decoder
    from spinfloor.ingest.links.outbox import Deliver


def register(group: click.Group) -> None:
    """Add the command."""
    group.add_command(listen)


@click.command()
@click.argument("address", metavar="udp://HOST:PORT|tcp://HOST:PORT")
@click.option("--form", type=click.Choice(["values", "mavlink"]), required=True, help="What comes over the link.")
@click.option("--to", "base", required=True, help="The service, e.g. http://127.0.0.1:8000")
@click.option("--sortie", required=True, help="Sortie whose plan holds the channel map.")
@click.option("--from", "sender", help="Only take what this IP address sends; needed off the loopback.")
@click.option("--labels", help="The label line, when it may have been missed: names joined by commas.")
@click.option("--source", help="Name of the source. Default: transport and port.")
@token_option
def listen(
    address: str,
    form: str,
    base: str,
    sortie: str,
    sender: str | None,
    labels: str | None,
    source: str | None,
    token: str | None,
) -> None:
    """Receive telemetry on ADDRESS and send it into a sortie.

    Acknowledged frame by frame, until interrupted. One sender is taken at a time. values: comma-separated lines behind
    a label line. mavlink: MAVLink packets.
    """
    asyncio.run(_listen(address, form, base, sortie, sender, labels, source, token))


async def _listen(
    address: str,
    form: str,
    base: str,
    sortie: str,
    sender: str | None,
    labels: str | None,
    source: str | None,
    token: str | None,
) -> None:
    from spinfloor.adapters.system_clock import SystemClock
    from spinfloor.client import Client
    from spinfloor.ingest.links.address import parse_address
    from spinfloor.ingest.links.listener import Link, Listener
    from spinfloor.ingest.links.outbox import Outbox

    where = parse_address(address, sender)
    name = source or f"{where.transport}-{where.port}"
    clock = SystemClock()
    async with Client(base, token=token) as client:
        channel_map = await client.channel_map(sortie)
        first = await _next_sequence(client, sortie, name)

        outbox = Outbox(deliver_to(client, sortie, name), clock, say, first=first)
        listener = Listener(Link(where, decoder_for(form, channel_map, labels), outbox, clock, say))
        running = asyncio.create_task(listener.run())
        for number in (signal.SIGINT, signal.SIGTERM):
            asyncio.get_running_loop().add_signal_handler(number, running.cancel)
        try:
            await running
        except asyncio.CancelledError:
            pass
        finally:
            say(listener.sentence)


def deliver_to(client: Client, sortie: str, source: str) -> Deliver:
    """Hands batches to the service; a service that is full or cannot write now is one to try again."""
    from spinfloor.client import ServiceError, UnreachableError

    async def deliver(sequence: int, block: FrameBlock) -> Mapping[str, Any]:
        try:
            return await client.send_frames(sortie, source, sequence, block)
        except ServiceError as error:
            if error.status in (429, 503):
                raise UnreachableError(expected=error.expected, got=error.got, now="it is sent again") from error
            raise

    return deliver


async def _next_sequence(client: Client, sortie: str, source: str) -> int:
    """Batches of an earlier listener under this name are on disk: go on behind them."""
    states = await client.sources(sortie)
    return max((int(s["last_sequence"]) + 1 for s in states if s["source"] == source), default=0)


def decoder_for(form: str, channel_map: ChannelMap | None, labels: str | None) -> Decoder:
    """The decoder for a form; labelled values need a channel map, because they state no units."""
    from spinfloor.adapters.links import LabelledValues, MavlinkLink
    from spinfloor.adapters.links.labelled import LinkMapError

    if form == "mavlink":
        return MavlinkLink(channel_map)
    if channel_map is None:
        raise LinkMapError(
            expected="a channel map in the sortie's plan, because lines of values state no units",
            got="a plan without one",
            now="nothing is received",
        )
    return LabelledValues(channel_map, labels)
