"""Options from a file, the environment and the command line: which comes first, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from spinfloor.cli import main


def call(*arguments: object) -> int:
    with pytest.raises(SystemExit) as ended:
        main([str(argument) for argument in arguments])
    return int(ended.value.code or 0)


@pytest.fixture
def config(tmp_path: Path) -> Path:
    path = tmp_path / "spinfloor.yaml"
    path.write_text(f"token:\n  list:\n    data: {tmp_path / 'from-file'}\n", encoding="utf-8")
    return path


def test_the_file_counts_where_nothing_else_is_said(config: Path, tmp_path: Path) -> None:
    assert call("--config", config, "token", "list") == 0
    assert (tmp_path / "from-file").is_dir()


def test_the_environment_comes_before_the_file_and_the_command_line_before_both(
    config: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SPINFLOOR_CONFIG", str(config))
    monkeypatch.setenv("SPINFLOOR_DATA", str(tmp_path / "from-environment"))
    assert call("token", "list") == 0
    assert call("token", "list", "--data", tmp_path / "from-line") == 0
    assert {p.name for p in tmp_path.iterdir() if p.is_dir()} == {"from-environment", "from-line"}


BAD = {
    "a wrong command": ("serv: {port: 1}", "serv"),
    "a wrong option": ("serve: {prt: 1}", "serve.prt"),
    "a wrong value": ("serve: {port: many}", "many"),
    "a list": ("- serve", "mapping"),
    "options that are none": ("serve: 7", "mapping at serve"),
    "no YAML": ("serve: [", "YAML"),
    "other bytes": ("\\udcff\\udcfe", "YAML"),
}


@pytest.mark.parametrize("what", BAD)
def test_a_wrong_file_ends_with_2_and_one_sentence(
    tmp_path: Path, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    text, words = BAD[what]
    (tmp_path / "bad.yaml").write_bytes(text.encode("utf-8", "surrogateescape") if "udc" not in text else b"\xff\xfe")
    assert call("--config", tmp_path / "bad.yaml", "serve", "--no-screen") == 2
    said = capsys.readouterr().err
    assert words in said
    assert "Traceback" not in said


def test_a_file_that_is_not_there_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call("--config", tmp_path / "absent.yaml", "token", "list") == 2
    assert "absent.yaml" in capsys.readouterr().err
