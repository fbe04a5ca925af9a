"""The OpenAPI document for reading: one page without a script and without a request to anywhere else.

A control room may have no way out, and a script from elsewhere would run with the rights of whoever is signed in.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from html import escape
from typing import Any, Final

HEADERS: Final = {"Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'"}
_METHODS: Final = ("get", "post", "put", "patch", "delete")
_STYLE: Final = """
:root { color-scheme: dark }
body { font: 16px/1.5 "Liberation Sans", "DejaVu Sans", sans-serif; color: #e8eef1; background: #0e1418;
  max-width: 1060px; margin: 24px auto; padding: 0 24px }
h1 { font-size: 26px } h2 { font-size: 21px; margin: 36px 0 8px; border-bottom: 1px solid #5c6a71 }
h3 { font: 600 17px monospace; margin: 26px 0 4px } p { margin: 4px 0 } a { color: #9fd3f2 }
pre { background: #1a2329; padding: 10px 12px; overflow-x: auto; font-size: 14px } summary { cursor: pointer }
table { border-collapse: collapse; margin: 8px 0 } th, td { text-align: left; padding: 2px 18px 2px 0; vertical-align: top }
"""


def docs_page(document: Mapping[str, Any]) -> str:
    """The whole page. document: OpenAPI 3.1; every text of it is escaped."""
    info = document["info"]
    title = f"{escape(info['title'])} {escape(info['version'])}"
    schemas = document["components"]["schemas"]
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">'
        f"<title>{title}: HTTP</title><style>{_STYLE}</style></head><body><main><h1>{title}</h1>"
        f'<p>{escape(info["description"])}</p><p>For programs: <a href="/openapi.json">/openapi.json</a>. '
        f'Refusals are <code>application/problem+json</code>: <a href="#Problem">Problem</a>.</p>'
        f"{''.join(_groups(document['paths']))}<h2>Objects</h2>{''.join(_schema(*item) for item in sorted(schemas.items()))}"
        "</main></body></html>"
    )


def _groups(paths: Mapping[str, Any]) -> Iterable[str]:
    groups: dict[str, list[str]] = {}
    for path, item in paths.items():
        for method in _METHODS:
            if method in item:
                name = (item[method].get("tags") or ["other"])[0]
                groups.setdefault(name, []).append(_operation(method, path, item[method]))
    for name, operations in groups.items():
        yield f"<h2>{escape(name)}</h2>{''.join(operations)}"


def _operation(method: str, path: str, operation: Mapping[str, Any]) -> str:
    body = operation.get("requestBody", {}).get("content", {})
    return (
        f'<section><h3 id="{escape(operation["operationId"])}">{method.upper()} {escape(path)}</h3>'
        f"{''.join(f'<p>{escape(part)}</p>' for part in operation.get('description', '').split(chr(10) * 2) if part)}"
        f"{_parameters(operation.get('parameters', []))}{''.join(_content('Body', *item) for item in body.items())}"
        f"{''.join(_answer(*item) for item in operation['responses'].items())}</section>"
    )


def _parameters(parameters: Iterable[Mapping[str, Any]]) -> str:
    rows = "".join(
        f"<tr><td><code>{escape(p['name'])}</code></td><td>{escape(p['in'])}{', required' if p.get('required') else ''}</td>"
        f"<td>{_kind(p['schema'])}</td><td>{escape(p.get('description', ''))}</td></tr>"
        for p in parameters
    )
    head = "<tr><th>parameter</th><th>in</th><th>kind</th><th></th></tr>"
    return f"<table>{head}{rows}</table>" if rows else ""


def _answer(status: str, answer: Mapping[str, Any]) -> str:
    if not status.startswith("2"):
        return ""
    return "".join(_content(f"Answer {status}", *item) for item in answer.get("content", {}).items())


def _content(what: str, media_type: str, content: Mapping[str, Any]) -> str:
    example = content.get("example")
    shown = "" if example is None else f"<pre>{escape(_text(example))}</pre>"
    return f"<p>{escape(what)} <code>{escape(media_type)}</code>: {_kind(content.get('schema', {}))}</p>{shown}"


def _text(example: object) -> str:
    return example if isinstance(example, str) else json.dumps(example, indent=1, ensure_ascii=False)


def _kind(schema: Mapping[str, Any]) -> str:
    """A schema in a word or two, objects as links to where they are explained."""
    if "$ref" in schema:
        name = escape(schema["$ref"].rsplit("/", 1)[1])
        return f'<a href="#{name}">{name}</a>'
    for several in ("anyOf", "oneOf", "allOf"):
        if several in schema:
            return " or ".join(_kind(one) for one in schema[several] if one.get("type") != "null")
    if "enum" in schema:
        return ", ".join(f"<code>{escape(str(value))}</code>" for value in schema["enum"])
    if schema.get("type") == "array":
        return f"list of {_kind(schema.get('items', {}))}"
    limits = ", ".join(
        f"{words} {escape(str(schema[key]))}"
        for key, words in (("minimum", "from"), ("maximum", "to"), ("pattern", "like"), ("default", "default"))
        if key in schema
    )
    kind = escape(str(schema.get("format") or schema.get("type") or "anything"))
    return f"{kind} ({limits})" if limits else kind


def _schema(name: str, schema: Mapping[str, Any]) -> str:
    return (
        f'<details id="{escape(name)}"><summary><code>{escape(name)}</code> {escape(schema.get("description", ""))}</summary>'
        f"<pre>{escape(_text(schema))}</pre></details>"
    )
