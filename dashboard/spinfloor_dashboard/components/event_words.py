"""One sentence per event, for timelines and tables."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from spinfloor_dashboard.components.common import Tone
from spinfloor_dashboard.components.words import MINUS, channel, feet, known, number, spin_name, turns

Data = Mapping[str, Any]

WARNING_CALLS = ("recover", "chute", "abandon")


def tone(event: Mapping[str, Any]) -> Tone:
    """warning | caution | plain: warnings and cautions only, everything else stays plain."""
    data = event["data"]
    if event["kind"] == "call":
        call = data.get("call")
        return "warning" if call in WARNING_CALLS else "caution" if call == "caution" else "plain"
    if event["kind"] == "floor.crossed":
        return "warning"
    lost = event["kind"] == "link" and "lost" in data.values()
    flagged = event["kind"] == "quality" and data.get("on", data.get("state")) in (True, "on")
    return "caution" if lost or flagged else "plain"


def describe(event: Mapping[str, Any]) -> str:
    """What the event says, with its numbers; an unknown kind is given with its fields."""
    return _WORDS.get(event["kind"], _other)(event["data"])


def heading(event: Mapping[str, Any]) -> str:
    """The event's kind in plain words."""
    return _HEADINGS.get(event["kind"], event["kind"])


def _phase(data: Data) -> str:
    return f"{data.get('from')} to {data.get('to')}"


def _started(data: Data) -> str:
    above = f", {data['sense_from_above']} from above" if data.get("sense_from_above") else ""
    return f"{spin_name(dict(data))}{above}, at {feet(data.get('altitude_ft'))}"


def _turn(data: Data) -> str:
    return (
        f"turn {number(data.get('turns'), 0)}: {number(data.get('seconds'), 1, 's')}, "
        f"{feet(data.get('loss_ft'))} lost, at {feet(data.get('altitude_ft'))} "
        f"({turns(data.get('turns_about_vertical'))} about the vertical)"
    )


def _mode(data: Data) -> str:
    swing = ", oscillatory" if data.get("oscillatory") else ""
    alpha = f", alpha {number(data['alpha_deg'], 0, 'deg')}" if known(data.get("alpha_deg")) else ""
    return (
        f"{data.get('mode') or 'mode not known'}{swing}{alpha}, {number(data.get('seconds_per_turn'), 1, 's a turn')}"
    )


def _recovery(data: Data) -> str:
    return f"after {turns(data.get('turns'))} turns at {feet(data.get('altitude_ft'))}, known from {data.get('source')}"


def _ended(data: Data) -> str:
    return (
        f"{turns(data.get('turns'))} turns, {turns(data.get('recovery_turns'))} of them in recovery, "
        f"{feet(data.get('loss_ft'))} lost, at {feet(data.get('altitude_ft'))}"
    )


def _recovered(data: Data) -> str:
    return (
        f"level at {feet(data.get('altitude_ft'))}, {feet(data.get('loss_ft'))} lost; margin "
        f"{feet(data.get('margin_ft'), sign=True)}, predicted {feet(data.get('predicted_margin_ft'), sign=True)}"
    )


def _call(data: Data) -> str:
    bound, median = data.get("altitude_left_bound_ft"), data.get("altitude_left_ft")
    said = data.get("call") == "status" or "median" in str(
        data.get("reason")
    )  # nothing is ahead, or the reason has both
    given = known(bound) and known(median) and not said
    numbers = f"; altitude left {feet(bound)} cautious, {feet(median)} median" if given else ""
    estimated = "; estimated" if data.get("estimated") else ""
    why = _reason(data)
    return f"“{data.get('words')}”{': ' + why if why else ''}{numbers}{estimated}"


def _reason(data: Data) -> str:
    """Why, where it says more than the words of the call."""
    if data.get("call") == "turn" and known(data.get("turns")):
        planned = f" of {data['planned_turns']:g} planned" if known(data.get("planned_turns")) else ""
        return f"{number(data['turns'], 1)}{planned} turns{'' if planned else ' so far'}"
    why = str(data.get("reason") or "")
    return "" if why == data.get("words") else re.sub(r"(^|\s)-(?=\d)", rf"\1{MINUS}", why)


def _floor(data: Data) -> str:
    where = "in the spin" if data.get("in_spin") else "not in a spin"
    estimated = "; estimated" if data.get("estimated") else ""
    return f"{data.get('floor')} floor {feet(data.get('floor_ft'))}, at {feet(data.get('altitude_ft'))}, {where}{estimated}"


def _quality(data: Data) -> str:
    state = data.get("on", data.get("state"))
    words = {True: "on", False: "off", None: ""}.get(state, state) if not isinstance(state, str) else state
    return f"{channel(data.get('channel'))}: {str(data.get('flag')).replace('_', ' ')} {words}".rstrip()


def _link(data: Data) -> str:
    words = " ".join(str(value) for value in data.values() if isinstance(value, str))
    return "data " + {"restored": "back"}.get(words, words)


def _mark(data: Data) -> str:
    kind = str(data.get("kind", data.get("mark", "mark"))).replace("_", " ")
    if kind == "floors":
        return f"floors moved by {data.get('by')}: {_floors(data.get('floors') or {})}"
    inner = data.get("data") if isinstance(data.get("data"), Mapping) else {}
    details = {**{k: v for k, v in data.items() if k not in _NOT_SAID}, **(inner or {})}
    said = ", ".join(f"{name} {value}" for name, value in details.items() if value not in (None, ""))
    by = f" by {data['by']}" if data.get("by") else ""
    return f"{kind}{by}{': ' + said if said else ''}"


_NOT_SAID = ("kind", "mark", "by", "data", "sequence")


def _floors(floors: Data) -> str:
    names = ("recovery", "chute", "abandon")
    return ", ".join(f"{name} {feet(floors[f'{name}_ft'])}" for name in names if known(floors.get(f"{name}_ft")))


def _other(data: Data) -> str:
    return ", ".join(f"{name.replace('_', ' ')} {value}" for name, value in data.items()) or "no details"


_WORDS: dict[str, Callable[[Data], str]] = {
    "phase": _phase,
    "spin.started": _started,
    "spin.turn": _turn,
    "spin.mode": _mode,
    "recovery.started": _recovery,
    "spin.ended": _ended,
    "recovered": _recovered,
    "call": _call,
    "floor.crossed": _floor,
    "quality": _quality,
    "link": _link,
    "mark": _mark,
}
_HEADINGS = {
    "phase": "phase",
    "spin.started": "spin started",
    "spin.turn": "turn",
    "spin.mode": "mode",
    "recovery.started": "recovery started",
    "spin.ended": "spin ended",
    "recovered": "recovered",
    "call": "call",
    "floor.crossed": "floor crossed",
    "quality": "quality",
    "link": "data link",
    "mark": "mark",
}
