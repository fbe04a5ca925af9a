"""The documentation builds without a dead link, and its generated pages equal what the code says."""

import logging
from pathlib import Path

import pytest
from tests.places import ROOT

from spinfloor.core.channels import CHANNELS

DOCS = ROOT / "docs"


@pytest.mark.filterwarnings("default")  # mkdocs' own dependencies warn about themselves
def test_site_builds_without_dead_links(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    from mkdocs.commands.build import build
    from mkdocs.config import load_config

    config = load_config(str(ROOT / ".ci" / "mkdocs.yml"), site_dir=str(tmp_path / "site"), strict=False)
    with caplog.at_level(logging.WARNING, logger="mkdocs"):
        build(config)
    assert [record.getMessage() for record in caplog.records if record.name.startswith("mkdocs")] == []
    assert (tmp_path / "site" / "index.html").is_file()


def test_columns_page_lists_every_channel() -> None:
    page = (DOCS / "reference" / "columns.md").read_text(encoding="utf-8")
    for channel in CHANNELS:
        row = f"| `{channel.column}` | {channel.unit or '-'} | {'yes' if channel.required else 'no'} | {channel.meaning} |"
        assert row in page, f"docs/reference/columns.md lacks: {row}"
