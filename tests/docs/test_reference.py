"""The reference pages against what they describe: the plan's schema, the OpenAPI document, the roles, the problem codes."""

from __future__ import annotations

import ast
import re
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import click
import pytest
from tests.docs.plan_rows import rows
from tests.places import ROOT
from tests.serving_thread import ROOMY, Serving, serving

import spinfloor
from spinfloor.adapters.plan_files import load_plan
from spinfloor.adapters.recordings import read_recording
from spinfloor.api.auth import make_token
from spinfloor.cli import build
from spinfloor.commands._limits import DEFAULTS, LIMITS
from spinfloor.core.channels import YAW_RATE
from spinfloor.core.detector.detector import Detector
from spinfloor.core.events import Kind, Mark
from spinfloor.core.plan.rules import RULES
from spinfloor.ports.tokens import Role

REFERENCE = ROOT / "docs" / "reference"
ROUTE = re.compile(
    r"^\| `(GET|POST|PATCH|DELETE) (\S+)` \| (anyone|source|watch|source or watch|control) \| (.+) \|$", re.MULTILINE
)
MAY = {
    "source": {Role.SOURCE, Role.CONTROL},
    "watch": {Role.WATCH, Role.CONTROL},
    "source or watch": set(Role),
    "control": {Role.CONTROL},
}
TOKENS = {role: make_token(role.value, role, now_ns=time.time_ns()) for role in Role}


def page(name: str) -> str:
    return (REFERENCE / name).read_text(encoding="utf-8")


def test_every_field_of_a_plan_is_explained_as_it_is() -> None:
    text = page("plan.md")
    for row in rows():
        found = re.search(re.escape(row.cells()) + r" (\S.*) \|$", text, re.MULTILINE)
        assert found, f"docs/reference/plan.md lacks or contradicts: {row.cells()}"
    named = set(re.findall(r"^\| `([^`]+)` \|", text, re.MULTILINE))
    assert named == {row.path for row in rows()}


def test_the_rules_page_lists_every_rule_as_it_is() -> None:
    text = page("rules.md")
    for rule in RULES.values():
        read = "yes" if rule.verified else "**no, from memory**"
        row = re.search(rf"^\| `{re.escape(rule.key)}` \|.*$", text, re.MULTILINE)
        assert row, f"docs/reference/rules.md lacks {rule.key}"
        for cell in (rule.title, f"{rule.recovery_turns:g}", f"{rule.source}", read):
            assert f"| {cell}" in row[0], f"{rule.key}: {cell}"
    assert len(re.findall(r"^\| `", text, re.MULTILINE)) == len(RULES)


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Serving]:
    """A service that asks who one is."""
    records = tuple(record for _, record in TOKENS.values())
    settings = replace(ROOMY, tokens_required=True, allowed_hosts=())
    with serving(tmp_path_factory.mktemp("guarded"), settings, records) as running:
        yield running


def test_every_route_is_listed(guarded: Serving) -> None:
    document = guarded.http.get("/openapi.json").json()
    there = {(method.upper(), path) for path, item in document["paths"].items() for method in item}
    assert {(method, path) for method, path, _, _ in ROUTE.findall(page("http.md"))} == there


def test_every_route_asks_for_the_role_it_is_listed_with(guarded: Serving) -> None:
    for method, path, role, _ in ROUTE.findall(page("http.md")):
        address = re.sub(r"\{\w+\}", "1", path)
        if role == "anyone":
            if method == "GET" and path != "/v1/session":
                assert guarded.http.get(address).status_code == 200, path
            continue
        assert guarded.http.request(method, address).json()["code"] == "who-are-you", path
        for who, (secret, _record) in TOKENS.items():
            if method == "DELETE" and who in MAY[role]:
                continue  # nothing is to be deleted here; that control may is tested with each of them
            answer = guarded.http.request(method, address, headers={"Authorization": f"Bearer {secret}"})
            refused = answer.status_code == 403 and answer.json()["code"] == "role"
            assert refused == (who not in MAY[role]), f"{who.value}: {method} {path}: {answer.text[:200]}"


def raised() -> Iterator[tuple[str, int | None]]:
    """(code, status where one is stated) of every error class and every problem in the source."""
    for path in sorted(Path(spinfloor.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                values = {
                    target.id: one.value.value
                    for one in node.body
                    if isinstance(one, ast.Assign) and isinstance(one.value, ast.Constant)
                    for target in one.targets
                    if isinstance(target, ast.Name)
                }
                if node.name.endswith("Error") and isinstance(values.get("code"), str):
                    status = values.get("http_status")
                    yield str(values["code"]), status if isinstance(status, int) else None
            elif isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("ProblemError", "problem_record"):
                stated, code = node.args[:2]
                if isinstance(stated, ast.Constant) and isinstance(code, ast.Constant):
                    yield str(code.value), int(str(stated.value))


def test_every_problem_code_is_listed_with_its_status() -> None:
    text = page("http.md").partition("## Problems")[2]
    listed = {
        code: set(re.findall(r"\d{3}", statuses))
        for codes, statuses in re.findall(r"^\| (`[^|]+`) \| ([^|]+) \|", text, re.MULTILINE)
        for code in re.findall(r"`([a-z-]+)`", codes)
    }
    named = set(re.findall(r"`([a-z]+(?:-[a-z]+)*)`", text))
    found = set(raised())
    assert len(found) > 50
    for code, status in sorted(found, key=str):
        assert code in named, f"docs/reference/http.md lacks the problem {code}"
        assert status is None or code not in listed or str(status) in listed[code], f"{code}: {status}"
    by_the_frame = {"unknown-path"}  # given by problems.py from the HTTP status
    assert set(listed) - {code for code, _ in found} == by_the_frame


def test_every_command_is_listed() -> None:
    text = page("commands.md")
    for name, command in build().commands.items():
        subs = getattr(command, "commands", None)
        for words in [f"{name} {sub}" for sub in subs] if subs and name != "token" else [name]:
            assert re.search(rf"`(?:spinfloor )?{words}\b", text), f"docs/reference/commands.md lacks {words}"


def test_every_option_of_the_service_is_listed_with_its_variable_and_default() -> None:
    text = page("configuration.md")
    for name in ("serve", "ingest", "detect", "screen"):
        for option in build().commands[name].params:
            assert isinstance(option, click.Option)
            long = next(one for one in option.opts if one.startswith("--"))
            row = re.search(rf"^\|[^|]*`{long}`[^|]*\|([^|]*)\|([^|]*)\|", text, re.MULTILINE)
            assert row, f"docs/reference/configuration.md lacks {long}"
            assert row[1].strip().strip("`") == (option.envvar or ""), long
    limits = dict(re.findall(r"^\| `--([a-z-]+)` \| `SPINFLOOR_[A-Z_]+` \| ([0-9]+) \|", text, re.MULTILINE))
    stated = {name: limits.get(name) for name, _, _ in LIMITS}
    assert stated == {name: f"{DEFAULTS[field]:.0f}" for name, field, _ in LIMITS}


def test_every_kind_of_event_is_listed() -> None:
    listed = re.findall(r"^\| `([a-z.]+)` \|", page("events.md"), re.MULTILINE)
    assert set(Kind) <= set(listed)


@pytest.fixture(scope="module")
def told() -> dict[str, set[str]]:
    """Fields of each kind of event, over recordings that between them have all kinds; the stream ends in silence."""
    fields: dict[str, set[str]] = {}
    for name in ("r01-first-turns", "r04-flat-slow-recovery", "r07-data-lost", "r08-abandon"):
        plan = load_plan(ROOT / "replay_data" / f"{name}.plan.yaml")
        block = read_recording(ROOT / "replay_data" / f"{name}.parquet").block
        detector, end = Detector(sortie=name, plan=plan), int(block.time_ns[-1])
        block.values[len(block) // 2, YAW_RATE] = 100.0  # rad/s: a wild point
        events = detector.feed(block) + detector.tick(end + 3_000_000_000)
        events += detector.mark(Mark("acknowledge", end, "engineer", {}))
        for event in events:
            fields.setdefault(event.kind, set()).update(event.data)
    return fields


@pytest.mark.parametrize("kind", list(Kind))
def test_every_field_of_an_event_is_listed(told: dict[str, set[str]], kind: Kind) -> None:
    part = page("events.md").partition(f"### `{kind}`\n")[2].partition("\n### ")[0]
    listed = set(re.findall(r"`(\w+)`", "".join(re.findall(r"^\| (`[^|]+) \|", part, re.MULTILINE))))
    assert listed == told[kind]


def test_every_metric_is_listed(guarded: Serving) -> None:
    answer = guarded.http.get("/metrics", headers={"Authorization": f"Bearer {TOKENS[Role.WATCH][0]}"})
    told = set(re.findall(r"^# TYPE (spinfloor_\w+) ", answer.text, re.MULTILINE))
    assert len(told) > 10
    text = page("metrics.md")
    missing = [name for name in sorted(told) if re.sub("(_total|_created)$", "", name) not in text]
    assert [name for name in missing if not name.endswith("_created")] == []
