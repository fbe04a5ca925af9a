"""`spinfloor plan check`, `plan schema` and `budget`: exit codes, every fault named, no traceback for any input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import yaml
from tests.command_line import Run
from tests.core.plan.plans import GOOD, good


@pytest.fixture
def good_file(tmp_path: Path) -> Path:
    path = tmp_path / "good.yaml"
    path.write_text(yaml.safe_dump(GOOD))
    return path


def _written(tmp_path: Path, **changes: object) -> Path:
    path = tmp_path / "plan.json"
    path.write_text(json.dumps(good(**changes)))
    return path


def test_a_good_plan(run: Run, good_file: Path) -> None:
    done = run("plan", "check", good_file)
    assert done.exit_code == 0
    assert "a good plan, 2 cards." in done.stdout
    assert "memory" not in done.stdout


def test_an_unverified_rule_is_said(run: Run, tmp_path: Path) -> None:
    done = run("plan", "check", _written(tmp_path, rule="cs-vla-221"))
    assert done.exit_code == 0
    assert "the rule cs-vla-221 is from memory and not verified against its text" in done.stdout


def test_every_fault_on_a_line_of_its_own(run: Run, tmp_path: Path) -> None:
    bad = _written(tmp_path, **{"floors.recovery_ft": 1_000.0, "cards.0.turns": 0, "rule": "mine", "title": ...})
    done = run("plan", "check", bad)
    assert done.exit_code == 2
    lines = done.stderr.splitlines()
    for path in ("floors.recovery_ft: ", "cards[0].turns: ", "rule: ", "title: "):
        assert any(line.startswith(path) for line in lines), path
    assert "was refused with 5 faults." in lines[-1]


NO_PLANS = [b"", b"\xff\xfe\x00", b"[1, 2]", b"{", b"title: [", b"\x00" * 100, b"a: &a [*a]", b"1e400", b"- " * 3000]


@pytest.mark.parametrize("content", NO_PLANS)
@pytest.mark.parametrize("command", [("plan", "check"), ("budget",)])
def test_no_plan_at_all(run: Run, tmp_path: Path, command: tuple[str, ...], content: bytes) -> None:
    path = tmp_path / "plan.yaml"
    path.write_bytes(content)
    done = run(*command, path)
    assert done.exit_code == 2
    assert done.stderr.strip()


@pytest.mark.parametrize("command", [("plan", "check"), ("budget",)])
def test_no_file_and_no_argument(run: Run, tmp_path: Path, command: tuple[str, ...]) -> None:
    missing = run(*command, tmp_path / "nothing.yaml")
    assert missing.exit_code == 2
    assert "nothing.yaml" in missing.stderr
    assert run(*command, tmp_path).exit_code == 2
    assert run(*command).exit_code == 2


def test_budget_in_words_and_as_json(run: Run, good_file: Path) -> None:
    done = run("budget", good_file)
    assert done.exit_code == 0
    for words in ("planned turns", "dearer first turn", "reaction", "recovery turns", "dive and pull-out", "enough;"):
        assert words in done.stdout
    assert "the approved test plan decide" in done.stdout
    record = json.loads(run("budget", good_file, "--json").stdout)
    assert [card["card"] for card in record["cards"]] == ["R1", "R3"]


def test_budget_refuses_a_card_that_enters_too_low(run: Run, tmp_path: Path) -> None:
    done = run("budget", _written(tmp_path, **{"cards.1.entry_altitude_ft": 7_000.0}))
    assert done.exit_code == 1
    assert "card R3: refused; entry at 7,000 ft is" in done.stderr
    assert "card R1" not in done.stderr


def test_budget_of_a_faulty_plan_names_its_faults(run: Run, tmp_path: Path) -> None:
    done = run("budget", _written(tmp_path, **{"floors.recovery_ft": 1_000.0}))
    assert done.exit_code == 2
    assert "floors.recovery_ft" in done.stderr


def test_the_schema_command(run: Run) -> None:
    done = run("plan", "schema")
    assert done.exit_code == 0
    assert json.loads(done.stdout)["$schema"].endswith("2020-12/schema")
