"""Schemas and media types that FastAPI can't find by itself, because those routes read and write bytes of their own."""

from __future__ import annotations

from typing import Any, Final

from spinfloor.adapters.exports import Format
from spinfloor.adapters.table_columns import ARROW, PARQUET
from spinfloor.api.names import ID_PATTERN
from spinfloor.core.channels import CHANNELS, REQUIRED_COLUMNS, TIME_COLUMN, TIME_SECONDS_COLUMN
from spinfloor.core.events import Kind
from spinfloor.ingest.batches import MAX_ROWS, SOURCE_PATTERN

Schema = dict[str, Any]

MSGPACK: Final = "application/msgpack"
YAML: Final = "application/yaml"
EVENT_STREAM: Final = "text/event-stream"
BYTES: Final[Schema] = {"type": "string", "format": "binary"}
OBJECT: Final[Schema] = {"type": "object"}
COUNT: Final[Schema] = {"type": "integer", "minimum": 0}
TIME_NS: Final[Schema] = {"type": "integer", "minimum": 0, "exclusiveMaximum": 2**62}


def ref(name: str) -> Schema:
    """A reference to a component."""
    return {"$ref": f"#/components/schemas/{name}"}


def record(required: Schema, optional: Schema | None = None) -> Schema:
    """An object with these properties; more may come in a later version."""
    return {"type": "object", "required": list(required), "properties": {**required, **(optional or {})}}


def list_of(item: Schema) -> Schema:
    """An array."""
    return {"type": "array", "items": item}


def _column(unit: str, meaning: str) -> Schema:
    described = f"{meaning} ({unit})" if unit else meaning
    return {"type": "array", "items": {"type": ["number", "null"]}, "maxItems": MAX_ROWS, "description": described}


_TIMES: Final[Schema] = {
    TIME_COLUMN: {"type": "array", "items": {"type": ["integer", "null"]}, "description": "ns UTC"},
    TIME_SECONDS_COLUMN: _column("s", "seconds since the start of the recording"),
}
_CHANNELS: Final[Schema] = {channel.column: _column(channel.unit, channel.meaning) for channel in CHANNELS}
_SOURCE: Final[Schema] = {"type": "string", "pattern": SOURCE_PATTERN}

COMPONENTS: Final[dict[str, Schema]] = {
    "Problem": {
        "description": "RFC 9457: what was expected, what came and what happens now, as one sentence in `detail`.",
        **record(
            {
                "type": {"type": "string", "pattern": "^urn:spinfloor:problem:"},
                "title": {"type": "string"},
                "status": {"type": "integer", "minimum": 400, "maximum": 599},
                "detail": {"type": "string", "minLength": 1},
                "code": {"type": "string", "pattern": "^[a-z][a-z0-9-]*$"},
            },
            {"faults": list_of(record({"path": {"type": "string"}}))},
        ),
    },
    "Batch": {
        "type": "object",
        "required": ["source", "sequence", "columns"],
        "additionalProperties": False,
        "properties": {
            "source": _SOURCE,
            "sequence": {"type": "integer", "minimum": 0, "maximum": 2**62},
            "columns": {
                "type": "object",
                "required": list(REQUIRED_COLUMNS),
                "additionalProperties": False,
                "properties": {**_TIMES, **_CHANNELS},
                "description": f"lists of one length; {TIME_COLUMN} or {TIME_SECONDS_COLUMN}; null is missing",
            },
        },
    },
    "Acknowledgement": record(
        {
            "acked": COUNT,
            "accepted": COUNT,
            "duplicates": COUNT,
            "rejected": list_of(record({"row": COUNT, "reason": {"type": "string"}, "kept": {"type": "boolean"}})),
        },
        {"rejected_total": COUNT, "gap": record({"first_missing": COUNT, "last_missing": COUNT})},
    ),
    "Event": record(
        {
            "sortie": {"type": "string"},
            "run": {"type": "string"},
            "sequence": COUNT,
            "kind": {"enum": [kind.value for kind in Kind]},
            "time_ns": {"type": "integer"},
            "detected_ns": {"type": "integer"},
            "data": OBJECT,
        }
    ),
    "EventPage": record(
        {
            "run": {"type": ["string", "null"]},
            "events": list_of(ref("Event")),
            "after": {"type": "integer", "minimum": -1},
        }
    ),
    "Frames": record({"columns": {"type": "object", "required": [TIME_COLUMN], "properties": {**_TIMES, **_CHANNELS}}}),
    "Sortie": record(
        {
            "id": {"type": "string", "pattern": ID_PATTERN},
            "aircraft": {"type": "string"},
            "kind": {"enum": ["flight", "rehearsal"]},
            "origin": {"enum": ["live", "replay"]},
            "created_ns": TIME_NS,
            "notes": OBJECT,
        },
        {"title": {"type": ["string", "null"]}},
    ),
    "Source": record(
        {
            "source": {"type": "string"},
            "last_sequence": COUNT,
            "batches": COUNT,
            "frames": COUNT,
            "last_time_ns": {"type": "integer"},
        }
    ),
    "State": record({"sortie": {"type": "string"}, "phase": {"type": "string"}, "link": {"type": "string"}}),
    "Replay": record(
        {
            "id": {"type": "string"},
            "recording": {"type": "string"},
            "sortie": {"type": "string"},
            "state": {"enum": ["playing", "paused", "ended"]},
            "speed": {"type": "number"},
            "position_s": {"type": "number"},
            "length_s": {"type": "number"},
            "trouble": {"type": ["string", "null"]},
        }
    ),
}


def json_of(schema: Schema) -> Schema:
    """An answer in JSON only."""
    return {"application/json": {"schema": schema}}


def exports_of(schema: Schema) -> Schema:
    """An answer in every export format, JSON among them."""
    forms = {form.media_type.partition(";")[0]: {"schema": BYTES} for form in Format}
    return {**forms, **json_of(schema)}


BATCH_BODY: Final[Schema] = {
    "required": True,
    "content": {
        "application/json": {"schema": ref("Batch")},
        MSGPACK: {"schema": BYTES},
        PARQUET: {"schema": BYTES},
        ARROW: {"schema": BYTES},
    },
}
PLAN_BODY: Final[Schema] = {
    "required": True,
    "description": "A plan; its JSON Schema is at /v1/plan-schema.",
    "content": {"application/json": {"schema": OBJECT}, YAML: {"schema": {"type": "string"}}},
}
