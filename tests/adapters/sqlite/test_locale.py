"""The store counts rows the same under every locale: a Turkish one has another small I."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.places import ROOT

from spinfloor.adapters.sqlite.connection import changed_rows, connect

TURKISH = "tr_TR.UTF-8"
LIKE = """
import locale, pathlib, sys
from spinfloor.adapters.sqlite.connection import changed_rows, connect
locale.setlocale(locale.LC_CTYPE, "")
connection = connect(pathlib.Path(sys.argv[1]))
connection.execute("CREATE TABLE one (x UNIQUE)")
put = "INSERT INTO one VALUES (?) ON CONFLICT (x) DO NOTHING"
print(locale.getlocale(locale.LC_CTYPE)[0], [changed_rows(connection, put, (x,)) for x in (1, 1, 2)])
"""


def test_rows_put_in_changed_and_known_already_are_counted(tmp_path: Path) -> None:
    connection = connect(tmp_path / "one")
    connection.execute("CREATE TABLE one (x UNIQUE, y)")
    put = "INSERT INTO one VALUES (?, 0), (?, 0) ON CONFLICT (x) DO NOTHING"
    assert [changed_rows(connection, put, pair) for pair in ((1, 2), (2, 3), (2, 3))] == [2, 1, 0]
    assert changed_rows(connection, "UPDATE one SET y = 1 WHERE x < ?", (3,)) == 2
    connection.close()


def test_under_a_turkish_locale_too(tmp_path: Path) -> None:
    """Built on the spot where the machine has what it takes; else the test below stands alone."""
    place = tmp_path / TURKISH
    builder = shutil.which("localedef")
    if (
        builder is None
        or subprocess.run([builder, "-i", "tr_TR", "-f", "UTF-8", place], check=False, capture_output=True).returncode
    ):
        pytest.skip("no Turkish locale can be built here")
    done = subprocess.run(
        [sys.executable, "-c", LIKE, str(tmp_path / "one")],
        env=os.environ | {"LOCPATH": str(tmp_path), "LC_ALL": TURKISH},
        capture_output=True,
        text=True,
        timeout=240,
        check=True,
    )
    assert done.stdout.split(maxsplit=1) == ["tr_TR", "[1, 0, 1]\n"]


def test_nothing_asks_a_cursor_for_its_rowcount() -> None:
    asked = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path in (ROOT / "services").rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr == "rowcount"
    ]
    assert asked == []
