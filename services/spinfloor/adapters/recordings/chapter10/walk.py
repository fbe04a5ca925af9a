"""Walking the packets of a recording: finds its way back after damage, and says what was passed over."""

from __future__ import annotations

import mmap
from collections.abc import Iterator
from dataclasses import dataclass

from spinfloor.adapters.recordings.chapter10.header import (
    FLAG_OVERFLOW,
    FLAG_RTC_ERROR,
    FLAG_SECONDARY,
    RTC_MODULUS,
    SYNC,
    Header,
    data_good,
    parse_header,
    secondary_good,
)
from spinfloor.adapters.recordings.recording import Notes

Buffer = bytes | mmap.mmap


@dataclass(frozen=True, slots=True)
class Packet:
    """One packet whose checksums are good. ticks: its relative time, unwrapped. body: CSDW and data, no filler.

    follows: False when packets of the same channel were lost before it.
    """

    at: int
    header: Header
    ticks: int
    body: bytes
    follows: bool


def walk(data: Buffer, notes: Notes) -> Iterator[Packet]:
    """Every good packet in file order.

    Bytes that are no packet are passed over up to the next header whose checksum is good. Packets with a wrong data
    or secondary checksum are left out. Lost packets show as gaps in a channel's sequence numbers.
    """
    sequences: dict[int, int] = {}
    unwrap = Unwrapper()
    at = 0
    while at < len(data):
        header = parse_header(data, at)
        if header is None or at + header.packet_bytes > len(data):
            at = _resync(data, at, header, notes)
            continue
        packet = data[at : at + header.packet_bytes]
        ticks = unwrap.ticks(header.rtc)
        if _sound(header, packet, at, notes):
            body = packet[header.body_at : header.body_at + header.data_bytes]
            yield Packet(at, header, ticks, body, _follows(header, at, sequences, notes))
        at += header.packet_bytes


def _resync(data: Buffer, at: int, header: Header | None, notes: Notes) -> int:
    """Where the next good header is, or the end of the file."""
    found = at + 1
    while True:
        found = data.find(SYNC, found)
        if found < 0:
            found = len(data)
            break
        if parse_header(data, found) is not None:
            break
        found += 1
    if header is not None:
        notes.add(f"byte {at}", f"packet of channel {header.channel} is cut short by the end of the file; left out")
    elif data[at:found].strip(b"\0\xff"):
        notes.add(f"byte {at}", f"{found - at} bytes are no packet (damaged header or foreign data); passed over")
    return found


def _sound(header: Header, packet: bytes, at: int, notes: Notes) -> bool:
    if header.flags & FLAG_SECONDARY and not secondary_good(packet):
        notes.add(f"byte {at}", f"secondary header checksum is wrong on channel {header.channel}; packet left out")
        return False
    if not data_good(header, packet):
        notes.add(f"byte {at}", f"data checksum is wrong on channel {header.channel}; packet left out")
        return False
    if header.flags & FLAG_OVERFLOW:
        notes.add(f"byte {at}", f"recorder reports data overflow on channel {header.channel}")
    if header.flags & FLAG_RTC_ERROR:
        notes.add(f"byte {at}", f"recorder reports its time counter out of step on channel {header.channel}")
    return True


def _follows(header: Header, at: int, sequences: dict[int, int], notes: Notes) -> bool:
    last = sequences.get(header.channel)
    sequences[header.channel] = header.sequence
    if last is None or header.sequence == (last + 1) % 256:
        return last is not None
    lost = (header.sequence - last - 1) % 256
    notes.add(f"byte {at}", f"packets of channel {header.channel} are missing before this one", lost)
    return False


class Unwrapper:
    """Makes the 48-bit counter (325.8 days) continuous; packets a little out of order do not count as a wrap."""

    def __init__(self) -> None:
        self._last: int | None = None
        self._turns = 0

    def ticks(self, rtc: int) -> int:
        """The continuous count for a reading."""
        if self._last is not None:
            if rtc < self._last - RTC_MODULUS // 2:
                self._turns += 1
            elif rtc > self._last + RTC_MODULUS // 2:
                self._turns -= 1
        self._last = rtc
        return rtc + self._turns * RTC_MODULUS

    def near(self, rtc: int, ticks: int) -> int:
        """The continuous count of another reading close to a known one, without moving on."""
        step = (rtc - ticks) % RTC_MODULUS
        return ticks + (step - RTC_MODULUS if step > RTC_MODULUS // 2 else step)
