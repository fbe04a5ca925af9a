"""Faults as words on a command line, and the score sheet as text."""

from __future__ import annotations

from typing import Any

import pytest

from spinfloor.replay.fault_words import BadFaultWordError, fault_from_word


@pytest.mark.parametrize(
    ("word", "fault"),
    [
        ("loss@8-12", {"kind": "loss", "from_s": 8.0, "to_s": 12.0}),
        ("loss", {"kind": "loss", "from_s": 0.0}),
        ("delay=2@5-", {"kind": "delay", "seconds": 2.0, "from_s": 5.0}),
        ("clip:yaw_rate_dps=100", {"kind": "clip", "channel": "yaw_rate_dps", "value": 100.0, "from_s": 0.0}),
        ("bias:alpha_deg=-5.5@0-3.5", {"kind": "bias", "channel": "alpha_deg", "value": -5.5, "from_s": 0.0, "to_s": 3.5}),
        ("stuck:roll_rate_dps@9-", {"kind": "stuck", "channel": "roll_rate_dps", "from_s": 9.0}),
    ],
)  # fmt: skip
def test_words_of_faults(word: str, fault: dict[str, Any]) -> None:
    assert fault_from_word(word).model_dump(exclude_none=True) == fault


@pytest.mark.parametrize(
    ("word", "says"),
    [
        ("", "KIND"),
        ("lost@8-12", "kind"),
        ("loss@12", "for example loss@8-12"),
        ("delay", "seconds with the fault delay"),
        ("clip=3", "a channel with the fault clip"),
        ("clip:yaw_rate_dps", "a value with the fault clip"),
        ("bias:heading=3", "channel"),
        ("delay=1.2.3", "float"),
        ("loss@1.2.3-4", "float"),
    ],
)
def test_what_is_no_fault_is_refused_with_a_sentence(word: str, says: str) -> None:
    with pytest.raises(BadFaultWordError) as caught:
        fault_from_word(word)
    assert says in caught.value.sentence
    assert "no rehearsal was started" in caught.value.sentence
    assert caught.value.exit_code == 2
