"""How the service is set up: limits, addresses, who may do what."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from spinfloor.core.errors import SpinfloorError

MIB: Final = 1 << 20


class UnsafeAddressError(SpinfloorError):
    """Asked to listen where others can reach it, without tokens."""

    code = "tokens-needed"


@dataclass(frozen=True, slots=True)
class Settings:
    """Limits carry their reason in docs/reference/configuration.md.

    tokens_required: every request needs a token or a session; False only on loopback.
    allowed_hosts: values of the Host header that are answered (a web page elsewhere must not reach a loopback
    service through a name of its own); empty: any, which is right only where tokens are required.
    """

    tokens_required: bool = False
    allowed_hosts: tuple[str, ...] = ("127.0.0.1", "localhost", "[::1]")
    allowed_origins: tuple[str, ...] = ()
    max_frames_body: int = 16 * MIB
    max_body: int = 1 * MIB
    max_archive_body: int = 1024 * MIB
    max_message: int = 4 * MIB
    max_connections: int = 512
    max_sockets_per_client: int = 256
    headers_within_s: float = 10.0
    body_within_s: float = 120.0
    archive_within_s: float = 900.0
    keep_alive_s: float = 5.0
    max_headers: int = 64 << 10
    ping_every_s: float = 10.0
    messages_per_s: float = 50.0
    message_burst: float = 500.0
    requests_per_s: float = 500.0
    request_burst: float = 2000.0
    bytes_per_s: float = 16.0 * MIB
    burst_bytes: float = 64.0 * MIB
    recordings: tuple[Path, ...] = ()
    secure_cookies: bool = False
    max_unanswered: int = 64
    max_waiting: int = 1024
    max_waiting_bytes: int = 16 * MIB
    max_watcher_events: int = 1024


def is_loopback(host: str) -> bool:
    """True for addresses only this machine can reach."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def check_address(host: str, *, tokens: int) -> None:
    """Raises UnsafeAddressError for a non-loopback address while no token is in force."""
    if not is_loopback(host) and tokens == 0:
        raise UnsafeAddressError(
            expected="a loopback address, or tokens in force for any other",
            got=f"the address {host} and no token",
            now="the service does not start; make tokens with `spinfloor token add` or listen on 127.0.0.1",
        )
