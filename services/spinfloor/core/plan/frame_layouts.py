"""Where parameters sit inside PCM minor frames and bus messages: the part of a channel map telemetry tapes need."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, field_validator, model_validator

Finite = Annotated[float, Field(allow_inf_nan=False)]
Name = Annotated[str, Field(min_length=1, max_length=200)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Coding(StrEnum):
    """How the bits of a parameter are a number."""

    UNSIGNED = "unsigned"
    TWOS_COMPLEMENT = "twos complement"
    OFFSET_BINARY = "offset binary"
    SIGN_MAGNITUDE = "sign magnitude"
    FLOAT = "ieee float"


class _Coded(_Part):
    name: Name
    unit: Annotated[str, Field(max_length=24)] | None = None
    coding: Coding = Coding.UNSIGNED
    scale: Finite = 1.0
    offset: Finite = 0.0


class PcmParameter(_Coded):
    """One measurand in a PCM frame; words count from 1 with the first word after the sync pattern.

    words: the word positions that together hold it, most significant first. minor_frames: the minor frames (from 1)
    of the major frame that carry it; empty means every one. every: repeat within the minor frame at this word interval
    (super-commutation), 0 for once. first_bit: from 1, most significant bit of the joined words. bits: 0 means all.
    """

    words: Annotated[tuple[Annotated[int, Field(ge=1, le=16384)], ...], Field(min_length=1, max_length=4)]
    minor_frames: tuple[Annotated[int, Field(ge=1, le=256)], ...] = ()
    every: Annotated[int, Field(ge=0, le=16384)] = 0
    first_bit: Annotated[int, Field(ge=1, le=64)] = 1
    bits: Annotated[int, Field(ge=0, le=64)] = 0


class PcmLayout(_Part):
    """The geometry of one PCM stream. minor_frame_bits counts the sync pattern too."""

    channel: Annotated[int, Field(ge=0, le=65535)]
    sync_pattern_hex: Annotated[str, Field(pattern=r"^[0-9A-Fa-f]{1,16}$")] = "FE6B2840"
    sync_bits: Annotated[int, Field(ge=8, le=64)] = 32
    word_bits: Annotated[int, Field(ge=4, le=64)] = 16
    words_per_minor_frame: Annotated[int, Field(ge=1, le=16384)]
    minor_frames_per_major: Annotated[int, Field(ge=1, le=256)] = 1
    counter_word: Annotated[int, Field(ge=1, le=16384)] | None = Field(
        default=None, description="word holding the minor frame number, needed when there are several minor frames"
    )
    counter_first: Annotated[int, Field(ge=0, le=256)] = Field(default=0, description="its value in the first one")
    counter_first_bit: Annotated[int, Field(ge=1, le=64)] = 1
    counter_bits: Annotated[int, Field(ge=0, le=64)] = Field(default=0, description="0: to the end of the word")
    bits_per_second: Annotated[float, Field(gt=0.0, le=1e9, allow_inf_nan=False)]
    parameters: tuple[PcmParameter, ...] = ()

    @property
    def minor_frame_bits(self) -> int:
        """Length of a minor frame, sync pattern included."""
        return self.sync_bits + self.words_per_minor_frame * self.word_bits

    @field_validator("parameters")
    @classmethod
    def _names(cls, parameters: tuple[PcmParameter, ...]) -> tuple[PcmParameter, ...]:
        names = [p.name for p in parameters]
        if len(set(names)) != len(names):
            raise ValueError("two parameters have the same name")
        return parameters

    @model_validator(mode="after")
    def _inside(self) -> PcmLayout:
        if len(self.sync_pattern_hex) * 4 > self.sync_bits + 3:
            raise ValueError("the sync pattern is longer than sync_bits")
        if self.minor_frames_per_major > 1 and self.counter_word is None:
            raise ValueError("counter_word is needed to tell the minor frames of a major frame apart")
        if self.counter_word is not None:
            if self.counter_word > self.words_per_minor_frame:
                raise ValueError("counter_word lies outside the minor frame")
            _fits("the counter", Coding.UNSIGNED, self.word_bits, self.counter_first_bit, self.counter_bits)
        for p in self.parameters:
            if max(p.words) > self.words_per_minor_frame:
                raise ValueError(f"{p.name} lies outside the minor frame")
            if p.minor_frames and max(p.minor_frames) > self.minor_frames_per_major:
                raise ValueError(f"{p.name} names a minor frame that does not exist")
            _fits(p.name, p.coding, len(p.words) * self.word_bits, p.first_bit, p.bits)
        return self


class BusParameter(_Coded):
    """One value in a bus message: data words count from 1, bit 1 is the most significant of the joined words."""

    words: Annotated[tuple[Annotated[int, Field(ge=1, le=32)], ...], Field(min_length=1, max_length=4)]
    first_bit: Annotated[int, Field(ge=1, le=64)] = 1
    bits: Annotated[int, Field(ge=0, le=64)] = 0

    @model_validator(mode="after")
    def _inside(self) -> BusParameter:
        _fits(self.name, self.coding, len(self.words) * 16, self.first_bit, self.bits)
        return self


class BusMessage(_Part):
    """A MIL-STD-1553 message picked by remote terminal, subaddress and whether the terminal transmits it."""

    channel: Annotated[int, Field(ge=0, le=65535)]
    remote_terminal: Annotated[int, Field(ge=0, le=31)]
    subaddress: Annotated[int, Field(ge=0, le=31)]
    transmit: bool = True
    parameters: Annotated[tuple[BusParameter, ...], Field(min_length=1)]


def _fits(name: str, coding: Coding, available: int, first_bit: int, bits: int) -> None:
    width = bits or available - first_bit + 1
    if width < 1 or first_bit - 1 + width > available or width > 64:
        raise ValueError(f"{name} asks for bits {first_bit} to {first_bit + width - 1} of {available}")
    if coding is Coding.FLOAT and width not in (32, 64):
        raise ValueError(f"{name} is a float of {width} bits; 32 or 64 are possible")
