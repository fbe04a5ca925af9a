"""The plan being edited and the ones before it: changes, undo and redo. Plain JSON, kept by the browser."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from typing import Any, Final

Draft = dict[str, Any]
KEPT: Final = 60

BLANK: Final[dict[str, Any]] = {"version": 1, "title": "", "aircraft": {"name": ""}, "floors": {}, "cards": []}


def fresh() -> Draft:
    """An empty draft: nothing a test team has to decide is filled in."""
    return {"plan": copy.deepcopy(BLANK), "origin": "start", "revision": 0, "past": [], "future": [], "said": ""}


def changed(draft: Draft | None, plan: Mapping[str, Any], origin: str, said: str) -> Draft:
    """The draft with a new plan; the old one can be had back by undo. `said` is what happened, in words."""
    before = draft or fresh()
    return {
        "plan": copy.deepcopy(dict(plan)),
        "origin": origin,
        "revision": int(before["revision"]) + 1,
        "past": [*before["past"], {"plan": before["plan"], "said": said}][-KEPT:],
        "future": [],
        "said": said,
        "source": before.get("source"),
    }


def told(draft: Draft | None, words: str) -> Draft:
    """The draft unchanged, with a sentence to show."""
    return {**(draft or fresh()), "said": words}


def undone(draft: Draft) -> Draft | None:
    """One step back, None when there is none."""
    if not draft["past"]:
        return None
    last = draft["past"][-1]
    return {
        **draft,
        "plan": last["plan"],
        "origin": "undo",
        "revision": int(draft["revision"]) + 1,
        "past": draft["past"][:-1],
        "future": [*draft["future"], {"plan": draft["plan"], "said": last["said"]}],
        "said": f"Undone: {last['said']}",
    }


def redone(draft: Draft) -> Draft | None:
    """One step forward again, None when there is none."""
    if not draft["future"]:
        return None
    step = draft["future"][-1]
    return {
        **draft,
        "plan": step["plan"],
        "origin": "redo",
        "revision": int(draft["revision"]) + 1,
        "past": [*draft["past"], {"plan": draft["plan"], "said": step["said"]}],
        "future": draft["future"][:-1],
        "said": f"Done again: {step['said']}",
    }
