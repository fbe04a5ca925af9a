"""The saved state: a JSON header and the records' bytes, with a layout hash so that another version is refused."""

from __future__ import annotations

import hashlib
import json
import struct
import zlib
from typing import Any, Final

from spinfloor.core.detector.motion import MOTION_DTYPE
from spinfloor.core.detector.states import CHANNEL_DTYPE, STATE_DTYPE
from spinfloor.core.errors import SpinfloorError
from spinfloor.core.recovery.learning import BELIEFS_DTYPE
from spinfloor.core.recovery.state import CARDS_DTYPE, DECISION_DTYPE
from spinfloor.core.settings import SETTINGS_DTYPE

MAGIC: Final = b"SPFL1"
_LENGTHS: Final = struct.Struct("<II")


class SavedStateError(SpinfloorError):
    """Bytes that are not a saved detector of this version."""

    code = "bad-saved-state"


def refused(why: str) -> SavedStateError:
    """The error for bytes that cannot be used."""
    return SavedStateError(
        expected="a detector saved by this version", got=f"bytes that do not fit ({why})", now="nothing was restored"
    )


def layout() -> str:
    """Short hash of all record layouts."""
    kinds = (MOTION_DTYPE, STATE_DTYPE, CHANNEL_DTYPE, SETTINGS_DTYPE, DECISION_DTYPE, BELIEFS_DTYPE, CARDS_DTYPE)
    return hashlib.sha256(repr([k.descr for k in kinds]).encode()).hexdigest()[:16]


def pack(header: dict[str, Any], parts: list[bytes]) -> bytes:
    """Header and parts in one checked byte string."""
    head = json.dumps({**header, "layout": layout(), "sizes": [len(p) for p in parts]}).encode()
    body = zlib.compress(b"".join(parts), 1)
    return MAGIC + _LENGTHS.pack(len(head), zlib.crc32(head + body)) + head + body


def unpack(data: bytes) -> tuple[dict[str, Any], list[bytes]]:
    """Inverse of pack. Raises SavedStateError for anything damaged or of another layout."""
    start = len(MAGIC) + _LENGTHS.size
    if not data.startswith(MAGIC) or len(data) < start:
        raise refused("no detector's first bytes")
    length, check = _LENGTHS.unpack_from(data, len(MAGIC))
    if zlib.crc32(data[start:]) != check:
        raise refused("checksum differs")
    if length > len(data) - start:
        raise refused("its length field is damaged")
    try:
        header = json.loads(data[start : start + length])
    except ValueError as error:
        raise refused("its header cannot be read") from error
    if header.pop("layout") != layout():
        raise refused("another layout of the records")
    try:
        body = zlib.decompress(data[start + length :])
    except zlib.error as error:
        raise refused("its body cannot be unpacked") from error
    parts, at = [], 0
    for size in header.pop("sizes"):
        parts.append(body[at : at + size])
        at += size
    return header, parts
