"""Which words are recorded: everything the detector may say, the plan's default call words, numbers to speak on."""

from __future__ import annotations

from typing import Final

from spinfloor.core.plan.model import CallWords
from spinfloor.core.recovery.numbers_in_words import spoken
from spinfloor.core.recovery.reasons import REASON_WORDS, WAITING_REASONS

# Zero to twenty, then the tens and what joins them.
NUMBER_PARTS: Final = (*(spoken(number) for number in (*range(21), *range(30, 100, 10))), "hundred", "and", "point")

# Words of the screen itself, and words test teams commonly choose for the calls (common practice, no source).
SCREEN_WORDS: Final = ("sound armed", "test", "turn", "turns", "estimated", "caution")
CALL_ALTERNATIVES: Final = (
    "recover now",
    "chute now",
    "deploy chute",
    "jettison",
    "bail out",
    "eject",
    "get out",
    "knock it off",
    "stop",
)


def shipped_phrases() -> tuple[str, ...]:
    """Every phrase recorded for the package, without repeats, in a stable order."""
    phrases = (
        *CallWords().model_dump().values(),
        *(words for code, words in REASON_WORDS.items() if code < WAITING_REASONS),
        *NUMBER_PARTS,
        *SCREEN_WORDS,
        *CALL_ALTERNATIVES,
    )
    return tuple(dict.fromkeys(normalise(phrase) for phrase in phrases))


def normalise(phrase: str) -> str:
    """The key of a phrase in the manifest: lower case, letters and digits, single spaces."""
    return " ".join("".join(c if c.isalnum() else " " for c in phrase.lower()).split())
