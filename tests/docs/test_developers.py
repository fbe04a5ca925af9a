"""DEVELOPERS.md names files, functions and commands that exist; so do the pages."""

from __future__ import annotations

import re

import pytest
from tests.places import ROOT

TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
STEP = re.compile(r"^\| [^|]+ \| (\S+\.(?:py|js)) \| (\w+) \|$", re.MULTILINE)
PRODUCT = (ROOT, ROOT / "services" / "spinfloor", ROOT / "dashboard" / "spinfloor_dashboard")
OURS = {
    "core", "detect", "api", "adapters", "replay", "archive", "ingest", "commands", "components", "assets", "tools",
    "tests", "docs", ".ci",
}  # fmt: skip
TO_BE_WRITTEN = {"adapters/recordings/pairs_file.py"}  # the worked example's own


def test_the_walk_of_a_frame_leads_through_what_is_there() -> None:
    steps = STEP.findall(TEXT)
    assert len(steps) > 25
    for file, name in steps:
        source = (ROOT / file).read_text(encoding="utf-8")
        defined = rf"(?:def|class|function) {name}\b|\.{name} = (?:async )?function"
        assert re.search(defined, source), f"{file} defines no {name}"


@pytest.mark.parametrize(
    "page", ["DEVELOPERS.md", "README.md", *sorted(p.relative_to(ROOT).as_posix() for p in ROOT.glob("docs/**/*.md"))]
)
def test_files_named_in_a_page_are_there(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    named = set(re.findall(r"`([\w.-]+/[\w./-]+\.(?:py|js|yaml|yml|md|txt)\b)", text)) - TO_BE_WRITTEN
    gone = [
        name
        for name in sorted(named)
        if name.partition("/")[0] in OURS and not any((base / name).exists() for base in PRODUCT)
    ]
    assert gone == []


def test_make_targets_named_are_there() -> None:
    targets = set(re.findall(r"^([a-z0-9-]+):", (ROOT / "Makefile").read_text(encoding="utf-8"), re.MULTILINE))
    pages = [ROOT / "DEVELOPERS.md", ROOT / "README.md", *ROOT.glob("docs/**/*.md")]
    for page in pages:
        named = set(re.findall(r"`make ([a-z0-9-]+)", page.read_text(encoding="utf-8")))
        assert named <= targets, page.name


@pytest.mark.parametrize("page", ["DEVELOPERS.md", "README.md", "CHANGELOG.md"])
def test_links_beside_the_site_lead_somewhere(page: str) -> None:
    for link in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", (ROOT / page).read_text(encoding="utf-8")):
        assert (ROOT / link).exists(), f"{page}: {link}"
