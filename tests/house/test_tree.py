"""Small files, one idea each; nothing in the tree names a path of a machine."""

import re
import subprocess
from pathlib import Path
from statistics import median

import pytest
from tests.places import ROOT

LONGEST = 500


def _tracked(*patterns: str) -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--", *patterns], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode != 0 or not listed.stdout:
        pytest.skip("not a git checkout")
    return [ROOT / name for name in listed.stdout.split("\0") if name and (ROOT / name).exists()]


def _lines(path: Path) -> int:
    return len(path.read_text(encoding="utf-8").splitlines())


TOP = {
    "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "Makefile", "pyproject.toml", "docker-compose.yml",
    "services", "dashboard", "tests", "replay_data", "docs", ".ci", ".gitignore",
}  # fmt: skip


def test_the_top_level_is_fixed() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in _tracked("*")} <= TOP


def test_no_module_is_over_500_lines() -> None:
    long = {str(p.relative_to(ROOT)): _lines(p) for p in _tracked("*.py") if _lines(p) > LONGEST}
    assert long == {}


def test_median_product_module_is_small() -> None:
    sizes = [_lines(p) for p in _tracked("services/*.py", "dashboard/*.py") if p.name != "__init__.py"]
    assert median(sizes) <= 250


TEXT = ("*.py", "*.md", "*.toml", "*.yml", "*.yaml", "*.js", "*.css", "Makefile", ".ci/*")


@pytest.mark.parametrize(
    ("what", "telling"),
    [
        ("a path of a machine", r"/(?:work|root)/[a-z]|/home/(?!spinfloor\b)[a-z]+/|/tmp/"),
        ("a package registry", r"(?i)\bpypi\b|pythonhosted|npmjs|conda-forge|docker\.io|ghcr\.io"),
        ("a ticket", r"(?i)\bissues? #?\d"),
    ],
)
def test_nothing_in_the_tree_names(what: str, telling: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}: {line.strip()}"
        for path in _tracked(*TEXT)
        if path != Path(__file__) and "vendor" not in path.parts
        for line in path.read_text(encoding="utf-8").splitlines()
        if re.search(telling, line)
    ]
    assert found == [], what


def test_every_exception_from_a_check_carries_its_reason() -> None:
    """`# noqa: CODE  # why`, `# type: ignore[code]  # why`; `# fmt: skip` says itself what it keeps: the layout."""
    silent = re.compile(r"# (?:noqa|type: ignore)(?![:\[][\w, -]+\]?  # \w)")
    found = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()}"
        for path in _tracked("*.py")
        if path != Path(__file__)
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if silent.search(line)
    ]
    assert found == []
