"""Byte vectors of the packet format, computed apart from this project and parsed back by a reference library.

Day 100 of 2031 is 10 April; the PCM packet's counter is one second after the time packet's.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from spinfloor.adapters.recordings import read_recording
from spinfloor.adapters.recordings.chapter10.clock import make_clock, time_point
from spinfloor.adapters.recordings.chapter10.header import parse_header
from spinfloor.adapters.recordings.chapter10.walk import walk
from spinfloor.adapters.recordings.recording import Notes

TIME = bytes.fromhex("25eb0100240000000a0000000600001115cd5b070000cad0010000007856341200010000")
PCM = bytes.fromhex("25eb0300240000000c000000060000099563f4070000e75f00001000fe6b284001020304")
MAP: dict[str, object] = {
    "year": 2031,
    "columns": {
        "roll_rate_dps": {"source": "W1", "unit": "deg/s"},
        "pitch_rate_dps": {"source": "W2", "unit": "deg/s"},
        "yaw_rate_dps": {"source": "W2", "unit": "deg/s"},
        "pressure_altitude_ft": {"source": "W2", "unit": "ft"},
    },
    "pcm": [
        {
            "channel": 3,
            "words_per_minor_frame": 2,
            "bits_per_second": 64000,
            "parameters": [{"name": "W1", "words": [1]}, {"name": "W2", "words": [2]}],
        }
    ],
}


def test_time_packet() -> None:
    header = parse_header(TIME, 0)
    assert header is not None
    assert (header.channel, header.data_type, header.rtc, header.data_bytes) == (1, 0x11, 123_456_789, 10)
    assert int.from_bytes(TIME[22:24], "little") == 0xD0CA
    (packet,) = walk(TIME, Notes())
    point = time_point(packet, Notes())
    assert point is not None
    assert (point.year, point.day) == (None, 100)
    assert point.of_day_ns == ((12 * 60 + 34) * 60 + 56) * 10**9 + 780_000_000
    utc = make_clock([point], 2031, Notes()).utc_ns(np.array([123_456_789], dtype=np.int64))
    assert np.datetime64(int(utc[0]), "ns") == np.datetime64("2031-04-10T12:34:56.780")


def test_pcm_packet_stored_as_sent(tmp_path: Path) -> None:
    path = tmp_path / "vector.ch10"
    path.write_bytes(TIME + PCM)
    block = read_recording(path, MAP).block
    assert np.datetime64(int(block.time_ns[0]), "ns") == np.datetime64("2031-04-10T12:34:57.780")
    assert block.to_columns()["roll_rate_dps"].tolist() == [0x0102]
    assert round(float(block.to_columns()["yaw_rate_dps"][0])) == 0x0304


def test_one_flipped_bit_in_the_header_is_found() -> None:
    for byte in range(24):
        damaged = bytearray(TIME)
        damaged[byte] ^= 0x10
        assert parse_header(bytes(damaged), 0) is None
