"""Where a link listens or connects, and which senders it takes."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass
from enum import StrEnum
from urllib.parse import urlsplit

from spinfloor.core.errors import SpinfloorError


class LinkAddressError(SpinfloorError):
    """The address is none we can listen on, or one that may not be listened on so."""

    code = "link-address"


class Transport(StrEnum):
    """How the bytes come."""

    UDP = "udp"
    TCP = "tcp"


@dataclass(frozen=True, slots=True)
class LinkAddress:
    """A parsed address. sender: the only IP address taken, None for the first one that sends."""

    transport: Transport
    host: str
    port: int
    sender: str | None = None

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{self.transport}://{host}:{self.port}"


def parse_address(text: str, sender: str | None = None) -> LinkAddress:
    """`udp://HOST:PORT` or `tcp://HOST:PORT`. Raises LinkAddressError.

    These protocols carry no secret, so an address that others can reach needs the sender named.
    """
    try:
        parts = urlsplit(text)
        transport, host, port = Transport(parts.scheme), parts.hostname, parts.port
        pinned = None if sender is None else str(ipaddress.ip_address(sender))
    except ValueError as error:
        raise LinkAddressError(
            expected="an address such as udp://127.0.0.1:5501 and a sender as an IP address",
            got=f"{text!r}" + (f" from {sender!r}" if sender else ""),
            now="nothing is received",
        ) from error
    if not host or port is None or parts.path not in ("", "/"):
        raise LinkAddressError(
            expected="an address with host and port, such as udp://127.0.0.1:5501",
            got=f"{text!r}",
            now="nothing is received",
        )
    if pinned is None and not _is_loopback(host):
        raise LinkAddressError(
            expected="the sender's IP address (--from) for a link that other machines can reach",
            got=f"{text!r} without one",
            now="nothing is received",
        )
    return LinkAddress(transport, host, port, pinned)


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
