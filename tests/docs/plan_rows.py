"""What the plan's reference page has to say of each field, read from the published JSON Schema."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from spinfloor.core.plan.model import Plan

# The unit is the end of the field's name, as everywhere at the edges.
UNITS = {
    "ft": "ft", "kt": "kt", "deg": "deg", "dps": "deg/s", "s": "s", "g": "g", "pct": "%", "hpa": "hPa", "kg": "kg",
    "turns": "turns", "spins": "spins",
}  # fmt: skip
LEFT_OUT = {"channel_map"}  # has a page of its own


class Row(NamedTuple):
    """The cells that are facts; the meaning beside them is prose."""

    path: str
    unit: str
    default: str
    limits: str

    def cells(self) -> str:
        """As they stand in the page."""
        return f"| `{self.path}` | {self.unit} | {self.default} | {self.limits} |"


def rows() -> list[Row]:
    """One row per field of a plan, in the schema's order."""
    schema = Plan.model_json_schema()
    return list(_of(schema, schema, ""))


def _of(schema: dict[str, Any], whole: dict[str, Any], prefix: str) -> Iterator[Row]:
    required = set(schema.get("required", ()))
    for name, given in schema["properties"].items():
        if name in LEFT_OUT:
            continue
        path, field = prefix + name, _resolved(given, whole)
        if field.get("type") == "array":
            yield Row(path, "-", "required", f"{field['minItems']} to {field['maxItems']:,} of them")
            yield from _of(_resolved(field["items"], whole), whole, f"{path}[].")
        elif "properties" in field:
            if given.get("default", "") is None:
                yield Row(path, "-", "none", "-")
            yield from _of(_with_defaults(field, given.get("default")), whole, path + ".")
        else:
            default = "required" if name in required else _text(given.get("default"))
            yield Row(path, _unit(path), default, _limits(field))


def _with_defaults(field: dict[str, Any], default: Any) -> dict[str, Any]:
    """A part's fields with the defaults that hold where the part itself is left out."""
    if not isinstance(default, dict):
        return field
    properties = {name: {**given, "default": default[name]} for name, given in field["properties"].items()}
    return {**field, "properties": properties, "required": []}


def _resolved(field: dict[str, Any], whole: dict[str, Any]) -> dict[str, Any]:
    """References followed, the null of an optional field dropped."""
    for one in field.get("anyOf", ()):
        if one.get("type") != "null":
            return _resolved(one, whole)
    if "$ref" in field:
        return _resolved(whole["$defs"][field["$ref"].rpartition("/")[2]], whole)
    return field


def _unit(path: str) -> str:
    *_, part, name = ["", *path.split(".")]
    if name == "seconds_per_turn":
        return "s"
    named = part if name in ("mean", "standard_deviation") else name
    return UNITS.get(named.rpartition("_")[2], "-")


def _text(value: Any) -> str:
    if value is None or value == "":
        return "none"
    return str(value).lower() if isinstance(value, bool) else f"{value:g}" if isinstance(value, float) else str(value)


def _limits(field: dict[str, Any]) -> str:
    if "enum" in field:
        return ", ".join(f"`{value}`" for value in field["enum"])
    if "const" in field:
        return f"`{field['const']}`"
    if field.get("type") == "string":
        least, most = field.get("minLength", 0), field.get("maxLength")
        return f"{least} to {most} characters" if most else "text"
    if field.get("type") == "boolean":
        return "`true`, `false`"
    return f"{_low(field)} to {_high(field)}"


def _low(field: dict[str, Any]) -> str:
    return f"above {field['exclusiveMinimum']:g}" if "exclusiveMinimum" in field else f"{field['minimum']:,g}"


def _high(field: dict[str, Any]) -> str:
    if "exclusiveMaximum" in field:
        return f"below {field['exclusiveMaximum']:g}"
    return f"{field['maximum']:,g}" if "maximum" in field else "any"
