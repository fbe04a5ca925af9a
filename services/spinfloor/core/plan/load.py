"""A plan from text or plain data, refused with every fault at once by path; and its JSON Schema.

Text may be JSON or YAML (1.1, safe subset: no tags, no duplicate keys, no aliases). Files are read by the adapter.
"""

from __future__ import annotations

import json
import re
from collections.abc import Hashable, Iterator, Mapping
from typing import Any, Final, TypeVar

import yaml
from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from spinfloor.core.plan.checks import check_parts
from spinfloor.core.plan.faults import Fault, PlanError
from spinfloor.core.plan.model import Aircraft, CallWords, Card, Floors, Plan, Timing

MOST_CHARACTERS: Final = 2_000_000
MOST_FAULTS: Final = 200
SCHEMA_DIALECT: Final = "https://json-schema.org/draft/2020-12/schema"
Part = TypeVar("Part", bound=BaseModel)
_NOT_WHAT: Final = re.compile("Value error, |(Input|String|List|Dictionary|Value) should (be |have )?")
_NUMBER_WITH_EXPONENT: Final = re.compile(r"[-+]?[0-9]+(\.[0-9]*)?[eE][-+]?[0-9]+")


def parse_plan(text: str) -> Plan:
    """A plan from JSON or YAML text. Raises PlanError with every fault."""
    return plan_from(_read(text))


def plan_from(data: object) -> Plan:
    """A plan from plain data (what a JSON body holds). Raises PlanError with every fault."""
    if isinstance(data, Plan):
        return data
    if not isinstance(data, Mapping):
        raise PlanError([Fault("", "a mapping with title, aircraft, floors and cards", _shown(data))])
    faults: list[Fault] = []
    plan: Plan | None = None
    try:
        plan = Plan.model_validate(data, context={"faults_listed_elsewhere": True})
    except ValidationError as error:
        faults.extend(fault_of(detail) for detail in error.errors(include_url=False)[:MOST_FAULTS])
    except RecursionError:
        raise PlanError([Fault("", "data nested no deeper than a plan is", "very deep nesting")]) from None
    faults.extend(_cross_faults(data))
    if plan is None or faults:
        raise PlanError(faults)
    return plan


def plan_to_data(plan: Plan) -> dict[str, Any]:
    """Plain data that `plan_from` takes back unchanged."""
    return plan.model_dump(mode="json", exclude_none=True)


def plan_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of a plan; what it cannot state (floor order, unique ids ...) is checked on top."""
    schema = Plan.model_json_schema()
    return {"$schema": SCHEMA_DIALECT, **schema}


class _StrictLoader(yaml.SafeLoader):
    """Safe YAML without duplicate keys and aliases, and with 1e3 read as a number."""

    def compose_node(self, parent: yaml.Node | None, index: Any) -> yaml.Node | None:
        if self.check_event(yaml.AliasEvent):
            event = self.peek_event()  # type: ignore[no-untyped-call]  # the stubs leave it untyped
            raise yaml.composer.ComposerError(None, None, "aliases are not taken", event.start_mark)
        return super().compose_node(parent, index)

    def construct_mapping(self, node: yaml.MappingNode, deep: bool = False) -> dict[Hashable, Any]:
        seen: set[object] = set()
        for key_node, _ in node.value:
            key = self.construct_object(key_node, deep=True)
            if not isinstance(key, str):
                raise yaml.constructor.ConstructorError(None, None, "a key is not text", key_node.start_mark)
            if key in seen:
                raise yaml.constructor.ConstructorError(None, None, f"duplicate key {key!r}", key_node.start_mark)
            seen.add(key)
        return super().construct_mapping(node, deep=deep)


_StrictLoader.add_implicit_resolver("tag:yaml.org,2002:float", _NUMBER_WITH_EXPONENT, list("-+0123456789"))


def _read(text: str) -> object:
    if len(text) > MOST_CHARACTERS:
        raise PlanError([Fault("", f"at most {MOST_CHARACTERS:,} characters", f"{len(text):,}")])
    try:
        if text.lstrip().startswith("{"):
            return json.loads(text, object_pairs_hook=_no_duplicates)
        return yaml.load(text, Loader=_StrictLoader)  # a SafeLoader
    except yaml.YAMLError as error:
        raise PlanError([Fault("", "readable YAML or JSON", _yaml_words(error))]) from None
    except RecursionError:
        raise PlanError([Fault("", "data nested no deeper than a plan is", "very deep nesting")]) from None
    except ValueError as error:
        raise PlanError([Fault("", "readable YAML or JSON", str(error).split("\n", 1)[0])]) from None


def _no_duplicates(pairs: list[tuple[str, object]]) -> dict[str, object]:
    out: dict[str, object] = {}
    for key, value in pairs:
        if key in out:
            raise ValueError(f"duplicate key {key!r}")
        out[key] = value
    return out


def _yaml_words(error: yaml.YAMLError) -> str:
    if isinstance(error, yaml.MarkedYAMLError) and error.problem_mark is not None:
        mark = error.problem_mark
        return f"{error.problem or 'a fault'} at line {mark.line + 1}, column {mark.column + 1}"
    return str(error).split("\n", 1)[0] or "unreadable text"


def fault_of(detail: ErrorDetails) -> Fault:
    """What a pydantic model found wrong with a value, as path, what was expected and what came."""
    path = path_text(detail["loc"])
    kind = detail["type"]
    if kind == "missing":
        return Fault(path, "a value", "nothing")
    if kind == "extra_forbidden":
        return Fault(path, "no key of this name", _shown(detail["input"]))
    if kind in ("string_too_short", "too_short") and detail["ctx"]["min_length"] == 1:
        return Fault(path, "some text" if kind == "string_too_short" else "at least one entry", "none")
    if kind == "string_pattern_mismatch":
        return Fault(path, f"text that matches {detail['ctx']['pattern']}", _shown(detail["input"]))
    message = _NOT_WHAT.sub("", detail["msg"], count=1).partition(", unable to ")[0]
    expected = message[0].lower() + message[1:] if message else kind
    return Fault(path, expected, _shown(detail["input"]))


def path_text(location: tuple[int | str, ...]) -> str:
    """`("cards", 2, "turns")` to `cards[2].turns`."""
    out = ""
    for part in location:
        if isinstance(part, int):
            out += f"[{part}]"
        else:
            out += f".{part}" if out else part
    return out


def _shown(value: object) -> str:
    if isinstance(value, Mapping):
        return "a mapping"
    if isinstance(value, (list, tuple)):
        return f"a list of {len(value)}"
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _cross_faults(data: Mapping[str, Any]) -> Iterator[Fault]:
    cards = data.get("cards")
    rule = data.get("rule")
    yield from check_parts(
        aircraft=_part(Aircraft, data.get("aircraft")),
        floors=_part(Floors, data.get("floors")),
        timing=_part(Timing, data.get("timing", {})),
        words=_part(CallWords, data.get("call_words", {})),
        rule=rule if isinstance(rule, str) else None,
        cards=[_part(Card, card) for card in cards] if isinstance(cards, (list, tuple)) else [],
    )


# Fields that a check across fields hangs on, by part: with a fault in one of them there is nothing to check.
_HANGS_ON: Final[Mapping[type[BaseModel], frozenset[str]]] = {
    Aircraft: frozenset({"chute_fitted"}),
    Floors: frozenset({"recovery_ft", "abandon_ft", "chute_ft", "reference", "ground_elevation_ft"}),
    Timing: frozenset({"repeat_call_s", "speaking_s"}),
    Card: frozenset({"id", "entry_altitude_ft"}),
}
_INSTEAD: Final = {"name": "x", "direction": "left", "turns": 1.0}  # of required fields that no check looks at


def _part(model: type[Part], data: object) -> Part | None:
    """The part, without fields that are faulty and that no check across fields hangs on; None: there is nothing to check."""
    try:
        return model.model_validate(data)
    except RecursionError:
        return None
    except ValidationError as error:
        faulty = {str(detail["loc"][0]) for detail in error.errors() if detail["loc"]}
    if not isinstance(data, Mapping) or not faulty or faulty & _HANGS_ON.get(model, faulty):
        return None
    sound = {name: value for name, value in data.items() if name not in faulty}
    try:
        return model.model_validate(sound | {name: _INSTEAD[name] for name in faulty & _INSTEAD.keys()})
    except (ValidationError, RecursionError):
        return None
