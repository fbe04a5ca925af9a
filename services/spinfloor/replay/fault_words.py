"""A fault of a rehearsal as one word on a command line: `loss@8-12`, `delay=2@5-`, `clip:yaw_rate_dps=100`."""

from __future__ import annotations

import re
from typing import Any, Final

from pydantic import ValidationError

from spinfloor.core.errors import SpinfloorError
from spinfloor.replay.model import Fault

FORM: Final = "KIND[:CHANNEL][=AMOUNT][@FROM-[TO]]"
_WORD: Final = re.compile(
    r"(?P<kind>[a-z]+)(:(?P<channel>[a-z_]+))?(=(?P<amount>-?[0-9.]+))?(@(?P<from>[0-9.]+)-(?P<to>[0-9.]+)?)?"
)


class BadFaultWordError(SpinfloorError):
    """The word names no fault."""

    code = "bad-fault"


def fault_from_word(word: str) -> Fault:
    """The fault a word stands for; times in seconds since the recording's start, amount in the channel's unit.

    loss and stuck take no amount, delay takes seconds, clip and bias take a channel and a value. Without a stretch the
    fault lasts from the start to the end. Raises BadFaultWordError.
    """
    found = _WORD.fullmatch(word.strip())
    if found is None:
        raise _wrong(word, f"a fault as {FORM}, for example loss@8-12")
    try:
        fault = Fault.model_validate(_parts(found))
    except (ValidationError, ValueError) as exc:
        first = exc.errors()[0] if isinstance(exc, ValidationError) else None
        about = str(exc) if first is None else f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
        raise _wrong(word, f"loss, delay, clip, bias or stuck as {FORM} ({about})") from exc
    lacking = fault.lacking()
    if lacking is not None:
        raise _wrong(word, f"{lacking} with the fault {fault.kind}")
    return fault


def _parts(found: re.Match[str]) -> dict[str, Any]:
    parts: dict[str, Any] = {"kind": found["kind"]}
    if found["channel"]:
        parts["channel"] = found["channel"]
    if found["amount"]:
        parts["seconds" if found["kind"] == "delay" else "value"] = float(found["amount"])
    if found["from"]:
        parts["from_s"] = float(found["from"])
    if found["to"]:
        parts["to_s"] = float(found["to"])
    return parts


def _wrong(word: str, expected: str) -> BadFaultWordError:
    return BadFaultWordError(expected=expected, got=repr(word), now="no rehearsal was started")
