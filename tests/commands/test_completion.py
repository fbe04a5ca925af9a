"""Shell completion as the README sets it up, in a real bash."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.docs.examples import reader, shell

ASKED = """
eval "$(_SPINFLOOR_COMPLETE=bash_source spinfloor)"
COMP_WORDS=({words}) COMP_CWORD=$(({count} - 1))
complete -p spinfloor >&2
_spinfloor_completion spinfloor 2>/dev/null || true  # compopt may say that nothing is being completed
printf '%s\\n' "${{COMPREPLY[@]}}"
"""


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (["spinfloor", "plan", "ch"], {"check"}),
        (["spinfloor", "analyse", "--format", ""], {"ndjson", "json", "csv", "parquet", "arrow"}),
        (["spinfloor", "rehearse", "--fa"], {"--fault"}),
        (["spinfloor", "rehearse", "r06"], {"r06-overcontrol"}),
    ],
)
def test_bash_offers(tmp_path: Path, words: list[str], offered: set[str]) -> None:
    typed = " ".join(f"'{word}'" for word in words)
    assert set(shell(ASKED.format(words=typed, count=len(words)), reader(tmp_path)).split()) == offered
