"""Names on the wire: streams and subjects, all under one prefix.

Everything that may hold any text (a source's name, a mark's key, a run) travels as one token of URL-safe base64, so
that no name can reach into another's subject.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass


def token(text: str) -> str:
    """Any text as one subject token; the empty text as "-"."""
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=") or "-"


def text_of(tok: str) -> str:
    """The text back."""
    return "" if tok == "-" else base64.urlsafe_b64decode(tok + "=" * (-len(tok) % 4)).decode()


@dataclass(frozen=True, slots=True)
class Names:
    """Streams and subjects below `prefix` (letters and digits)."""

    prefix: str

    def stream(self, what: str) -> str:
        """Stream of inputs, events, checkpoints, leases or latest."""
        return f"{self.prefix}-{what}"

    def inputs(self, sortie: str, rest: str = ">") -> str:
        """Inputs of a sortie. rest: f.<source>.<sequence>, t (tick), k.<key>, m (without a key); probe."""
        return f"{self.prefix}.in.{sortie}.{rest}"

    def events(self, sortie: str, rest: str = ">") -> str:
        """Events of a sortie. rest: fence, run.<run> (a run is opened), e.<run>.<sequence>."""
        return f"{self.prefix}.ev.{sortie}.{rest}"

    def checkpoint(self, sortie: str, run: str = "*") -> str:
        """Newest checkpoint of a run (as a token)."""
        return f"{self.prefix}.cp.{sortie}.{run}"

    def bus(self, subject: str) -> str:
        """A subject of the bus."""
        return f"{self.prefix}.bus.{subject}"
