"""The page on Watch names every key and every state that the screen has."""

import re
from pathlib import Path

from tests.places import ROOT

import spinfloor_dashboard

PAGE = (ROOT / "docs" / "howto" / "watch.md").read_text(encoding="utf-8")
DASHBOARD = Path(spinfloor_dashboard.__file__).parent


def source(*names: str) -> str:
    return "\n".join((DASHBOARD / name).read_text(encoding="utf-8") for name in names)


def test_every_key_has_its_row_and_no_other() -> None:
    drawn = re.findall(r'key="([A-Z])"', source("components/watch_parts.py"))
    drawn += re.findall(r'html\.Kbd\("([A-Z])"\)', source("components/watch_parts.py"))
    drawn += re.findall(r'replay\.toggle, "([A-Z])"\)', source("assets/46-replay.js"))
    rows = re.findall(r"^\| ((?:`[A-Z]` ?)+)\|", PAGE, re.MULTILINE)
    assert sorted(re.findall(r"`([A-Z])`", " ".join(rows))) == sorted(drawn)


def test_every_state_in_capitals_is_explained() -> None:
    scripts = source("assets/40-panels.js", "assets/43-unheard.js", "assets/44-keys.js", "assets/47-readiness.js")
    told = re.findall(r'"((?:[A-Z][A-Z,]+ ){1,}[A-Z]+|LIVE|ESTIMATED)\b', scripts)
    explained = " ".join(re.findall(r"^\| ([A-Z][^|]*) \|", PAGE, re.MULTILINE))
    assert [words for words in told if words not in explained] == []
    assert len(set(told)) > 8
