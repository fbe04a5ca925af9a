"""Builds the documentation site into site/; a dead link or anchor ends it with exit code 1."""

import sys

from mkdocs.commands.build import build
from mkdocs.config import load_config
from mkdocs.exceptions import Abort
from tests.places import ROOT

CONFIG = ROOT / ".ci" / "mkdocs.yml"


def main() -> int:
    try:
        build(load_config(str(CONFIG), strict=True))
    except Abort as stopped:
        print(f"docs: {stopped}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
