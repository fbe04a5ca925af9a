"""The service's limits as options, the same for every command that listens: name, field of Settings, what it bounds."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any, Final

import click

from spinfloor.api.settings import Settings
from spinfloor.commands._finite import FiniteRange

LIMITS: Final[tuple[tuple[str, str, str], ...]] = (
    ("max-batch-bytes", "max_frames_body", "Body of a batch."),
    ("max-archive-bytes", "max_archive_body", "Body of an archive."),
    ("max-body-bytes", "max_body", "Any other body."),
    ("max-message-bytes", "max_message", "One WebSocket message."),
    ("sortie-bytes-per-s", "bytes_per_s", "Bytes a second into one sortie."),
    ("sortie-bytes-at-once", "burst_bytes", "Bytes at once into one sortie."),
    ("requests-per-s", "requests_per_s", "Requests a second from one address."),
    ("requests-at-once", "request_burst", "Requests at once from one address."),
    ("max-connections", "max_connections", "Requests and sockets in progress."),
    ("max-sockets", "max_sockets_per_client", "WebSockets from one address."),
    ("max-header-bytes", "max_headers", "Headers of a request."),
    ("headers-within-s", "headers_within_s", "Seconds for the headers of a request to arrive."),
    ("body-within-s", "body_within_s", "Seconds for the body of a request to arrive."),
    ("archive-within-s", "archive_within_s", "Seconds for an archive to arrive."),
    ("ping-every-s", "ping_every_s", "Seconds between pings of a WebSocket; twice as many for the answer."),
    ("messages-per-s", "messages_per_s", "Messages a second from one live socket."),
    ("messages-at-once", "message_burst", "Messages at once from one live socket."),
    ("max-unanswered", "max_unanswered", "Unanswered batches on a frame socket."),
    ("max-waiting", "max_waiting", "Batches of one sortie waiting for the disk."),
    ("max-waiting-bytes", "max_waiting_bytes", "Bytes of one sortie waiting for the disk."),
    ("max-watcher-events", "max_watcher_events", "Events waiting for one watcher."),
)
DEFAULTS: Final = {field.name: field.default for field in dataclasses.fields(Settings)}


def variable(name: str) -> str:
    """The environment variable of a limit."""
    return f"SPINFLOOR_{name.upper().replace('-', '_')}"


def limit_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the limits to a command; they come as keywords named as the fields of Settings."""
    for name, field, words in reversed(LIMITS):
        default = DEFAULTS[field]
        whole = isinstance(default, int)
        command = click.option(
            f"--{name}",
            field,
            type=click.IntRange(min=1) if whole else FiniteRange(min=0.0, min_open=True),
            default=default,
            show_default=True,
            envvar=variable(name),
            help=words,
        )(command)
    return command


def limits_of(given: dict[str, Any]) -> dict[str, Any]:
    """Take the limits out of a command's keywords."""
    return {field: given.pop(field) for _, field, _ in LIMITS}
