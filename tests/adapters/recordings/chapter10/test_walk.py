"""The packet walker on damaged recordings; packets are written by builder.py from the standard's rules."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.adapters.recordings.chapter10 import builder

from spinfloor.adapters.recordings.chapter10.clock import make_clock, time_point
from spinfloor.adapters.recordings.chapter10.walk import walk
from spinfloor.adapters.recordings.recording import Notes

SECOND = 10_000_000


def _bodies(data: bytes) -> tuple[list[bytes], str]:
    notes = Notes()
    found = [p.body for p in walk(data, notes)]
    return found, " | ".join(n.sentence for n in notes)


def _three(*, flags: int = 0) -> list[bytes]:
    return [builder.packet(5, 0x30, k, bytes([k] * 8), sequence=k, flags=flags) for k in range(3)]


def test_leading_garbage_and_garbage_between() -> None:
    a, b, c = _three()
    found, notes = _bodies(b"\x25\xebgarbage" + a + b"\x01\x25\xeb\x02" + b + c)
    assert found == [bytes([k] * 8) for k in range(3)]
    assert "byte 0: 9 bytes are no packet" in notes
    assert "4 bytes are no packet" in notes


def test_damaged_header_costs_one_packet_and_shows_as_a_gap() -> None:
    a, b, c = _three()
    b = b[:4] + bytes([b[4] ^ 1]) + b[5:]
    found, notes = _bodies(a + b + c)
    assert found == [bytes([0] * 8), bytes([2] * 8)]
    assert "packets of channel 5 are missing before this one" in notes


@pytest.mark.parametrize("checksum", [1, 2, 3], ids=["8", "16", "32"])
def test_data_checksum(checksum: int) -> None:
    a, b, c = _three(flags=checksum)
    assert len(_bodies(a + b + c)[0]) == 3
    b = b[:26] + bytes([b[26] ^ 0x40]) + b[27:]
    found, notes = _bodies(a + b + c)
    assert len(found) == 2
    assert f"byte {len(a)}: data checksum is wrong on channel 5" in notes


def test_secondary_header_and_its_checksum() -> None:
    good = builder.packet(5, 0x30, 1, b"12345678", secondary=bytes(range(8)))
    assert _bodies(good)[0] == [b"12345678"]
    bad = good[:25] + b"\xff" + good[26:]
    found, notes = _bodies(bad)
    assert found == []
    assert "secondary header checksum is wrong" in notes


def test_cut_short() -> None:
    a, b, _ = _three()
    found, notes = _bodies(a + b[:-3])
    assert len(found) == 1
    assert "cut short by the end of the file" in notes


def test_unknown_type_is_passed_on_not_refused() -> None:
    assert _bodies(builder.packet(7, 0x43, 0, b"\0" * 8))[0] == [b"\0" * 8]


def test_counter_wrap() -> None:
    """The 48-bit counter at 10 MHz wraps after 28,147,497.67 s; one second across it is one second."""
    top = (1 << 48) - SECOND // 2
    data = builder.day_time(top, 200, 10, 0, 0) + builder.packet(5, 0x30, top + SECOND, b"\0" * 8)
    time, later = list(walk(data, Notes()))
    assert later.ticks - time.ticks == SECOND


def test_year_end() -> None:
    data = builder.day_time(0, 365, 23, 59, 59) + builder.day_time(SECOND, 1, 0, 0, 0)
    data += builder.day_time(2 * SECOND, 1, 0, 0, 1)
    points = [p for packet in walk(data, Notes()) if (p := time_point(packet, Notes())) is not None]
    utc = make_clock(points, 2030, Notes()).utc_ns(np.array([0, SECOND, 2 * SECOND], dtype=np.int64))
    assert [str(np.datetime64(int(t), "ns").astype("datetime64[s]")) for t in utc] == [
        "2030-12-31T23:59:59",
        "2031-01-01T00:00:00",
        "2031-01-01T00:00:01",
    ]


def test_leap_year_end() -> None:
    data = builder.day_time(0, 366, 23, 59, 59) + builder.day_time(SECOND, 1, 0, 0, 0)
    points = [p for packet in walk(data, Notes()) if (p := time_point(packet, Notes())) is not None]
    utc = make_clock(points, 2032, Notes()).utc_ns(np.array([SECOND], dtype=np.int64))
    assert str(np.datetime64(int(utc[0]), "ns").astype("datetime64[s]")) == "2033-01-01T00:00:00"


def test_dated_time_needs_no_year() -> None:
    (packet,) = walk(builder.dated_time(0, 2031, 5, 7, 9, 0, 1), Notes())
    point = time_point(packet, Notes())
    assert point is not None
    utc = make_clock([point], None, Notes()).utc_ns(np.zeros(1, dtype=np.int64))
    assert str(np.datetime64(int(utc[0]), "ns").astype("datetime64[s]")) == "2031-05-07T09:00:01"


def test_time_jump_is_noted() -> None:
    data = builder.day_time(0, 10, 0, 0, 0) + builder.day_time(SECOND, 10, 0, 0, 31)
    notes = Notes()
    make_clock([p for k in walk(data, notes) if (p := time_point(k, notes)) is not None], 2031, notes)
    assert "jumps by +30.00 s" in " ".join(n.sentence for n in notes)


def test_time_that_is_no_time() -> None:
    bad = builder.packet(1, 0x11, 0, struct.pack("<I", 1) + bytes.fromhex("00ff99990001"))
    notes = Notes()
    assert [time_point(p, notes) for p in walk(bad, notes)] == [None]
    assert "digits are no time" in next(iter(notes)).sentence


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=400), st.integers(0, 2), st.binary(max_size=60))
def test_good_packets_survive_any_surroundings(before: bytes, which: int, after: bytes) -> None:
    """Whatever bytes stand around it, a packet with good checksums is found unless they form one that covers it."""
    good = _three(flags=3)[which]
    found, _ = _bodies(before + good + after)
    assert bytes([which] * 8) in found or any(len(body) > 8 for body in found)
