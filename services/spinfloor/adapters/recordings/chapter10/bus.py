"""MIL-STD-1553 data format 1: bus messages picked by terminal and subaddress, their words to parameters.

Channel-specific word: bits 0-23 message count. Each message: eight bytes of time, a status word (bit 12 message error,
10 format, 9 timeout, 5 word count, 4 sync, 3 word errors; 11 terminal to terminal), two gap times, a length, and then
the words as they were on the bus. Command word: bits 0-4 count (0 means 32), 5-9 subaddress, 10 transmit, 11-15
terminal. Source: the open-source C reference library's i106_decode_1553f1.h.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from spinfloor.adapters.recordings.chapter10.bits import to_number
from spinfloor.adapters.recordings.chapter10.header import FLAG_STAMP_IS_SECONDARY
from spinfloor.adapters.recordings.chapter10.walk import Packet, Unwrapper
from spinfloor.adapters.recordings.recording import Notes
from spinfloor.core.plan.frame_layouts import BusMessage, BusParameter

_HEAD = 14
_ERRORS = 1 << 12 | 1 << 10 | 1 << 9 | 1 << 5 | 1 << 4 | 1 << 3
_TERMINAL_TO_TERMINAL = 1 << 11


@dataclass(frozen=True, slots=True)
class Message:
    """One message without errors: who sent or received, and its data words."""

    ticks: int
    remote_terminal: int
    subaddress: int
    transmit: bool
    words: tuple[int, ...]


class BusChannel:
    """Takes a channel's packets; afterwards `ticks` and `values` hold each parameter's samples by name."""

    def __init__(self, messages: list[BusMessage], notes: Notes) -> None:
        self.ticks: dict[str, list[int]] = {p.name: [] for m in messages for p in m.parameters}
        self.values: dict[str, list[float]] = {p.name: [] for m in messages for p in m.parameters}
        self._wanted = {(m.remote_terminal, m.subaddress, m.transmit): m for m in messages}
        self._notes = notes

    def take(self, packet: Packet) -> None:
        """One packet of this channel."""
        if packet.header.flags & FLAG_STAMP_IS_SECONDARY:
            self._notes.add(f"byte {packet.at}", "bus messages stamped by secondary time; packet left out")
            return
        for message in messages_of(packet, self._notes):
            wanted = self._wanted.get((message.remote_terminal, message.subaddress, message.transmit))
            if wanted is None:
                continue
            for parameter in wanted.parameters:
                if max(parameter.words) > len(message.words):
                    self._notes.add(f"byte {packet.at}", f"message too short for {parameter.name}")
                    continue
                self.ticks[parameter.name].append(message.ticks)
                self.values[parameter.name].append(_value(message.words, parameter))


def messages_of(packet: Packet, notes: Notes) -> Iterator[Message]:
    """The packet's messages; those with errors are left out and counted, mode codes carry no parameters."""
    body = packet.body
    count = int.from_bytes(body[:4], "little") & 0xFFFFFF
    at = 4
    for _ in range(count):
        if at + _HEAD > len(body):
            notes.add(f"byte {packet.at}", "bus packet ends before its last message")
            return
        rtc = int.from_bytes(body[at : at + 6], "little")
        status, _, length = struct.unpack_from("<HHH", body, at + 8)
        raw = body[at + _HEAD : at + _HEAD + length]
        at += _HEAD + length + length % 2
        if len(raw) < length:
            notes.add(f"byte {packet.at}", "bus packet ends inside a message")
            return
        if status & _ERRORS:
            notes.add(f"byte {packet.at}", "bus message(s) with errors; left out")
            continue
        words = struct.unpack(f"<{length // 2}H", raw[: length // 2 * 2])
        yield from _decoded(Unwrapper().near(rtc, packet.ticks), words, bool(status & _TERMINAL_TO_TERMINAL))


def _decoded(ticks: int, words: tuple[int, ...], between_terminals: bool) -> Iterator[Message]:
    commands = 2 if between_terminals else 1
    if len(words) < commands:
        return
    count = (words[0] & 0x1F) or 32
    for command in words[:commands]:
        subaddress = command >> 5 & 0x1F
        if subaddress in (0, 31):
            continue
        transmit = bool(command >> 10 & 1)
        # A transmitting terminal answers with its status word before the data.
        first = commands + (1 if transmit or between_terminals else 0)
        yield Message(ticks, command >> 11, subaddress, transmit, words[first : first + count])


def _value(words: tuple[int, ...], p: BusParameter) -> float:
    joined = 0
    for w in p.words:
        joined = joined << 16 | words[w - 1]
    width = p.bits or len(p.words) * 16 - p.first_bit + 1
    raw = joined >> (len(p.words) * 16 - p.first_bit + 1 - width) & ((1 << width) - 1)
    return p.scale * float(to_number(np.array([raw], dtype=np.uint64), width, p.coding)[0]) + p.offset
