"""Hypothesis over every decoder: random bytes, and good examples cut, bent and doubled."""

from __future__ import annotations

import os

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.fuzz.decoders import DECODERS, Decoder, tried

EXAMPLES = int(os.environ.get("SPINFLOOR_EXAMPLES", "60"))
LONGEST_SENTENCE = 20_000  # a plan's refusal lists every fault


@st.composite
def bent(draw: st.DrawFn, example: bytes) -> bytes:
    """The example with some bytes changed, pieces cut out, doubled or put in; or bytes of any kind."""
    data = bytearray(example)
    for _ in range(draw(st.integers(0, 6))):
        if not data:
            break
        at = draw(st.integers(0, len(data) - 1))
        to = min(len(data), at + draw(st.integers(1, 16)))
        piece = draw(st.sampled_from(["change", "cut", "double", "put"]))
        if piece == "change":
            data[at] = draw(st.integers(0, 255))
        elif piece == "cut":
            del data[at:to]
        elif piece == "double":
            data[at:at] = data[at:to]
        else:
            data[at:at] = draw(st.binary(max_size=8))
    return bytes(data)


@pytest.mark.parametrize("decoder", DECODERS, ids=lambda d: d.name)
def test_the_example_is_taken(decoder: Decoder) -> None:
    if decoder.name != "recording of any kind":
        assert tried(decoder, decoder.example()) == ""


@pytest.mark.parametrize("decoder", DECODERS, ids=lambda d: d.name)
def test_bent_and_random_bytes_end_in_a_documented_refusal(decoder: Decoder) -> None:
    @settings(max_examples=EXAMPLES, deadline=None)
    @given(data=st.one_of(bent(decoder.example()), st.binary(max_size=300)))
    def bend(data: bytes) -> None:
        assert len(tried(decoder, data)) < LONGEST_SENTENCE

    bend()
