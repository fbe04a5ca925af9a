"""The fenced examples of a page of the documentation, and running them as a reader would."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from tests.places import ROOT

BLOCK = re.compile(r"^```(?P<kind>\w+)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL)
BASE = "http://127.0.0.1:8000"  # the address the pages speak of


def blocks(page: str) -> list[tuple[str, str]]:
    """(language, text) of each fenced block of a page below docs/."""
    text = (ROOT / "docs" / page).read_text(encoding="utf-8")
    return [(match["kind"], match["text"]) for match in BLOCK.finditer(text)]


def of_kind(page: str, kind: str) -> list[str]:
    """The blocks of one language."""
    return [text for found, text in blocks(page) if found == kind]


def reader(folder: Path) -> Path:
    """A folder like the one a reader sits in: replay_data is there, and `spinfloor` is on the path."""
    (folder / "replay_data").symlink_to(ROOT / "replay_data")
    command = folder / "bin" / "spinfloor"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -c "from spinfloor.cli import main; main()" "$@"\n')
    command.chmod(0o755)
    return folder


def shell(text: str, folder: Path, base: str = BASE) -> str:
    """Run lines as typed; returns what they print."""
    paths = os.pathsep.join([str(folder / "bin"), str(Path(sys.executable).parent), os.environ["PATH"]])
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", text.replace(BASE, base)],
        cwd=folder,
        env={**os.environ, "PATH": paths},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, f"{text}\n{done.stderr}"
    return done.stdout


def python(text: str, folder: Path, known: dict[str, object], base: str = BASE) -> None:
    """Run a Python block in the folder; `known` carries names from block to block."""
    before = Path.cwd()
    os.chdir(folder)
    try:
        exec(compile(text.replace(BASE, base), "<documentation>", "exec"), known)
    finally:
        os.chdir(before)
