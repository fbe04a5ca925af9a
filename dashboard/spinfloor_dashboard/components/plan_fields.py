"""The plan's single-value fields: where each sits, what it is called, its unit, and how to read it back."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

Draft = dict[str, Any]
Kind = Literal["text", "number", "choice", "yes-no"]


@dataclass(frozen=True, slots=True)
class PlanField:
    """One field of the form. `path` is the dotted path in the plan, as the service names faults."""

    path: str
    label: str
    group: str
    kind: Kind = "number"
    unit: str = ""
    hint: str = ""
    choices: tuple[str, ...] = ()
    optional: bool = False


def _n(path: str, label: str, group: str, unit: str, hint: str = "", *, optional: bool = False) -> PlanField:
    return PlanField(path, label, group, "number", unit, hint, optional=optional)


FIELDS: tuple[PlanField, ...] = (
    PlanField("title", "Title", "Plan", "text", hint="what this sortie is called everywhere"),
    PlanField("rule", "Rule to judge by", "Plan", "choice", hint="each spin is read against this rule afterwards"),
    PlanField(
        "turns_called", "Turns called", "Plan", "choice", choices=("about_flight_path", "about_vertical"),
        hint="about the flight path is what the crew see",
    ),
    _n("cautious_bound", "Cautious bound", "Plan", "probability", "0.95 means right in 95 of 100"),
    _n("floors.recovery_ft", "Recovery floor", "Floors", "ft", "level flight must be reached above this"),
    _n("floors.chute_ft", "Chute floor", "Floors", "ft", "empty when no chute is fitted", optional=True),
    _n("floors.abandon_ft", "Abandon floor", "Floors", "ft", "still spinning here: abandon"),
    PlanField(
        "floors.reference", "Measured from", "Floors", "choice", choices=("pressure", "sea level", "ground"),
        hint="the datum of all three floors and of the entry heights",
    ),
    _n("floors.ground_elevation_ft", "Ground elevation", "Floors", "ft", "above sea level"),
    _n("floors.altimeter_setting_hpa", "Altimeter setting", "Floors", "hPa", "1013.25 is standard pressure"),
    PlanField("aircraft.name", "Aircraft", "Aircraft", "text", hint="what is learnt is kept under this name"),
    _n("aircraft.stall_alpha_upright_deg", "Stall alpha, upright", "Aircraft", "deg"),
    _n("aircraft.stall_alpha_inverted_deg", "Stall alpha, inverted", "Aircraft", "deg", "negative"),
    _n("aircraft.pull_out_load_factor_g", "Pull-out load factor", "Aircraft", "g", "held constant; above 1"),
    _n("aircraft.pull_out_speed_kt", "Pull-out speed", "Aircraft", "kt", "true, at 10,000 ft: stall speed x root of the load factor"),
    _n("aircraft.pull_out_dive_angle_deg", "Dive angle at the pull", "Aircraft", "deg", "90 is straight down"),
    _n("aircraft.altimeter_lag_s", "Altimeter lag", "Aircraft", "s", "a lag reads high in a descent: unsafe side"),
    _n("aircraft.idle_throttle_pct", "Idle up to", "Aircraft", "%"),
    PlanField("aircraft.chute_fitted", "Anti-spin chute fitted", "Aircraft", "yes-no"),
    _n("aircraft.sensor_ranges.roll_rate_dps", "Roll gyro range", "Aircraft", "deg/s", "at the rail is clipped"),
    _n("aircraft.sensor_ranges.pitch_rate_dps", "Pitch gyro range", "Aircraft", "deg/s"),
    _n("aircraft.sensor_ranges.yaw_rate_dps", "Yaw gyro range", "Aircraft", "deg/s"),
    _n("aircraft.priors.recovery_turns.mean", "Recovery turns, expected", "Believed before the first spin", "turns"),
    _n("aircraft.priors.recovery_turns.standard_deviation", "spread", "Believed before the first spin", "turns"),
    _n("aircraft.priors.recovery_turns.worth_spins", "worth", "Believed before the first spin", "spins"),
    _n("aircraft.priors.loss_per_turn_ft.mean", "Loss per turn, expected", "Believed before the first spin", "ft"),
    _n("aircraft.priors.loss_per_turn_ft.standard_deviation", "spread", "Believed before the first spin", "ft"),
    _n("aircraft.priors.loss_per_turn_ft.worth_spins", "worth", "Believed before the first spin", "spins"),
    _n("timing.reaction_s", "Crew reaction", "Timing", "s"),
    _n("timing.speaking_s", "Time to speak a call", "Timing", "s"),
    _n("timing.telemetry_age_s", "Age of data on arrival", "Timing", "s"),
    _n("timing.data_age_limit_s", "Data lost after", "Timing", "s", "no frame for longer is called"),
    _n("timing.controls_not_slowing_turns", "Turns without slowing", "Timing", "turns", "before the chute call"),
    _n("timing.repeat_call_s", "Repeat calls every", "Timing", "s"),
    PlanField("call_words.recover", "Word for recover", "Words spoken", "text"),
    PlanField("call_words.chute", "Word for chute", "Words spoken", "text"),
    PlanField("call_words.abandon", "Word for abandon", "Words spoken", "text"),
    PlanField("call_words.flattening", "Word for flattening", "Words spoken", "text"),
    PlanField("call_words.power_above_idle", "Word for power above idle", "Words spoken", "text"),
    PlanField("call_words.reversal", "Word for reversal", "Words spoken", "text"),
    PlanField("call_words.spin_started_again", "Word for spin started again", "Words spoken", "text"),
    PlanField("call_words.turned_inverted", "Word for turned inverted", "Words spoken", "text"),
    PlanField("call_words.data_lost", "Word for data lost", "Words spoken", "text"),
    PlanField("call_words.data_degraded", "Word for data degraded", "Words spoken", "text"),
    PlanField("call_words.recovered", "Word for recovered", "Words spoken", "text"),
    PlanField("call_words.data_back", "Word for data back", "Words spoken", "text"),
)  # fmt: skip

BY_PATH = {field.path: field for field in FIELDS}
GROUPS = tuple(dict.fromkeys(field.group for field in FIELDS))


def get(draft: Mapping[str, Any], path: str) -> Any:
    """The value at a dotted path, None when any part of it is missing."""
    value: Any = draft
    for part in path.split("."):
        if not isinstance(value, Mapping) or part not in value:
            return None
        value = value[part]
    return value


def put(draft: Mapping[str, Any], path: str, value: Any) -> Draft:
    """A copy with the value at a dotted path set; None removes it so that the plan's own default holds."""
    out: Draft = copy.deepcopy(dict(draft))
    inner = out
    *parents, last = path.split(".")
    for part in parents:
        if not isinstance(inner.get(part), dict):
            inner[part] = {}
        inner = inner[part]
    if value is None:
        inner.pop(last, None)
    else:
        inner[last] = value
    return out


def read_back(field: PlanField, raw: Any) -> Any:
    """What a form control holds, as the plan wants it; text that is no number stays text so the check names it."""
    if raw is None or raw == "":
        return None
    if field.kind == "number" and isinstance(raw, str):
        try:
            return float(raw.replace(",", ""))
        except ValueError:
            return raw
    if field.kind == "yes-no":
        return raw in (True, "yes")
    return raw


def faults_by_field(faults: Iterable[Mapping[str, Any]]) -> dict[str, list[str]]:
    """Sentences per form field; a fault below a field counts for it, one above any field is left to the list."""
    out: dict[str, list[str]] = {}
    for fault in faults:
        path = dotted(fault.get("path", ""))
        owner = path if path in BY_PATH else next((known for known in BY_PATH if path.startswith(known + ".")), None)
        if owner is not None:
            out.setdefault(owner, []).append(sentence(fault))
    return out


def faults_by_card(faults: Iterable[Mapping[str, Any]]) -> dict[int, list[str]]:
    """Sentences per card (its place from 0), each beginning with the field it is about."""
    out: dict[int, list[str]] = {}
    for fault in faults:
        parts = dotted(fault.get("path", "")).split(".")
        if len(parts) >= 2 and parts[0] == "cards" and parts[1].isdigit():
            about = ".".join(parts[2:])
            about = CARD_COLUMNS.get(about, about)
            out.setdefault(int(parts[1]), []).append(f"{about}: {sentence(fault)}" if about else sentence(fault))
    return out


CARD_COLUMNS: Final = {
    "id": "Card", "title": "Title", "orientation": "Way up", "direction": "Direction", "turns": "Turns",
    "entry_altitude_ft": "Entry", "mode": "Mode", "centre_of_gravity_pct": "C.g.", "mass_kg": "Mass", "power": "Power",
}  # as the grid's columns are headed  # fmt: skip


def place_of(path: Any) -> str:
    """Where a fault is, in the words of the page; empty where the page has none."""
    parts = dotted(path).split(".")
    if len(parts) >= 2 and parts[0] == "cards" and parts[1].isdigit():
        column = CARD_COLUMNS.get(".".join(parts[2:]), "")
        return f"Card {int(parts[1]) + 1}" + (f", {column.lower()}" if column else "")
    field = BY_PATH.get(".".join(parts))
    return field.label if field is not None else ""


def dotted(path: Any) -> str:
    """A fault's path as dots, whether it came as a list, as a.b, as a[0].b or as /a/0/b."""
    if isinstance(path, list | tuple):
        return ".".join(str(part) for part in path)
    text = str(path).replace("[", ".").replace("]", "").replace("/", ".")
    return text.strip("$.").strip(".")


def sentence(fault: Mapping[str, Any]) -> str:
    """A fault as one sentence."""
    for name in ("sentence", "message", "problem", "reason", "detail"):
        if fault.get(name):
            return str(fault[name])
    if fault.get("expected"):
        got = f"; got {fault['got']}" if fault.get("got") not in (None, "") else ""
        return f"expected {fault['expected']}{got}"
    return "not accepted"
