"""A plan as a file: YAML or JSON in, YAML or JSON out. What the plan may contain is the service's business."""

from __future__ import annotations

import base64
import binascii
import json
import re
from collections.abc import Mapping
from typing import Any, Final

import yaml

LARGEST_BYTES: Final = 2_000_000


class PlanTextError(ValueError):
    """The file can't be read as a plan; the message says what was expected, what came and what happens now."""


def from_upload(contents: str, file_name: str) -> dict[str, Any]:
    """The mapping in an uploaded file (`data:...;base64,...` as the browser sends it)."""
    _head, _, body = contents.partition(",")
    if len(body) > LARGEST_BYTES * 4 // 3 + 4:
        raise PlanTextError(
            f"Expected a file under {LARGEST_BYTES / 1e6:.0f} MB; {file_name} is larger; the plan here is unchanged."
        )
    try:
        text = base64.b64decode(body, validate=True).decode("utf-8-sig")
    except (binascii.Error, UnicodeDecodeError) as exc:
        raise PlanTextError(
            f"Expected {file_name} to be text in UTF-8; it is something else; the plan here is unchanged."
        ) from exc
    return parse(text, file_name)


def parse(text: str, file_name: str = "the text") -> dict[str, Any]:
    """The mapping in YAML or JSON text (JSON is tried first)."""
    try:
        value = json.loads(text)
    except (json.JSONDecodeError, RecursionError):
        value = _parse_yaml(text, file_name)
    if not isinstance(value, dict):
        raise PlanTextError(
            f"Expected {file_name} to hold one plan with named fields; it holds "
            f"{'nothing' if value is None else 'something else'}; the plan here is unchanged."
        )
    return value


def _parse_yaml(text: str, file_name: str) -> Any:
    try:
        if any(isinstance(event, yaml.AliasEvent) for event in yaml.parse(text, Loader=yaml.SafeLoader)):
            raise PlanTextError(
                f"Expected {file_name} without YAML aliases (*name); it has some; the plan here is unchanged."
            )
        return yaml.safe_load(text)
    except (yaml.YAMLError, RecursionError, ValueError) as exc:
        if isinstance(exc, PlanTextError):
            raise
        mark = getattr(exc, "problem_mark", None)
        where = f" (line {mark.line + 1}, column {mark.column + 1})" if mark is not None else ""
        raise PlanTextError(
            f"Expected {file_name} to be YAML or JSON; it can't be read{where}; the plan here is unchanged."
        ) from exc


def to_yaml(plan: Mapping[str, Any]) -> str:
    """YAML in the plan's own order of fields."""
    return yaml.safe_dump(dict(plan), sort_keys=False, allow_unicode=True, width=110)


def to_json(plan: Mapping[str, Any]) -> str:
    """JSON, indented."""
    return json.dumps(plan, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def file_name(plan: Mapping[str, Any], extension: str) -> str:
    """A safe file name from the plan's title."""
    stem = re.sub(r"[^a-z0-9]+", "-", str(plan.get("title") or "").lower()).strip("-")[:60]
    return f"{stem or 'plan'}.{extension}"
