"""Files written by pychapter10, an independent library, read by our walker (it is used for nothing else)."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
from chapter10.computer import ComputerF1
from chapter10.ms1553 import MS1553F1
from chapter10.pcm import PCMF1
from chapter10.time import TimeF1
from numpy.testing import assert_allclose
from tests.adapters.recordings.chapter10 import builder

from spinfloor.adapters.recordings import read_recording

SECOND = 10_000_000


def _time(rtc: int, when: datetime, *, dated: bool) -> bytes:
    packet = TimeF1(channel_id=1, data_type=0x11, rtc=rtc, date_format=int(dated), data_checksum=3)
    packet.time = when
    return bytes(packet)


def _message(packet: MS1553F1, rtc: int, words: list[int]) -> None:
    raw = b"".join((w & 0xFFFF).to_bytes(2, "little") for w in words)
    packet.append(MS1553F1.Message(raw, parent=packet, ipts=rtc, length=len(raw)))


def test_bus_file(tmp_path: Path) -> None:
    bus = MS1553F1(channel_id=4, data_type=0x19, rtc=3 * SECOND, data_checksum=2)
    for k in range(20):
        _message(bus, 3 * SECOND + k * SECOND // 50, [5 << 11 | 1 << 10 | 3 << 5 | 4, 5 << 11, -849, 0, 849, 9000 - k])
    bus.count = 20
    setup = ComputerF1(channel_id=0, data_type=0x01, data=b"G\\PN:invented;")
    data = bytes(setup) + _time(2 * SECOND, datetime(2031, 5, 7, 9, 0, 1), dated=True) + bytes(bus)
    path = tmp_path / "library.ch10"
    path.write_bytes(data)
    parameters = [
        {"name": n, "words": [k + 1], "coding": "twos complement", "scale": 0.1, "unit": "deg/s"}
        for k, n in enumerate("PQR")
    ]
    parameters.append({"name": "H", "words": [4], "unit": "ft"})
    mapping = {
        "bus": [{"channel": 4, "remote_terminal": 5, "subaddress": 3, "parameters": parameters}],
        "columns": {
            "roll_rate_dps": {"source": "P"},
            "pitch_rate_dps": {"source": "Q"},
            "yaw_rate_dps": {"source": "R"},
            "pressure_altitude_ft": {"source": "H"},
        },
    }
    recording = read_recording(path, mapping)
    assert recording.notes == ()
    assert str(np.datetime64(int(recording.block.time_ns[0]), "ns").astype("datetime64[s]")) == "2031-05-07T09:00:02"
    assert_allclose(recording.block.to_columns()["yaw_rate_dps"], 84.9)
    assert_allclose(recording.block.to_columns()["pressure_altitude_ft"], 9000 - np.arange(20))


def test_pcm_file_in_throughput_mode(tmp_path: Path) -> None:
    stream = b"".join(builder.minor_frame(100 + k, 0, 100, 9000 - k) for k in range(50))
    data = _time(0, datetime(2031, 4, 10, 12, 0, 0), dated=False)
    packet = PCMF1(channel_id=3, data_type=0x09, rtc=SECOND, data_checksum=3, throughput=1)
    packet._raw_body = lambda: PCMF1.csdw_format.pack(packet.__dict__) + builder.stored(stream, 2)
    data += bytes(packet)
    path = tmp_path / "library.ch10"
    path.write_bytes(data)
    layout = {
        "channel": 3,
        "words_per_minor_frame": 4,
        "bits_per_second": 9_600,
        "parameters": [{"name": n, "words": [k + 1]} for k, n in enumerate("PQRH")],
    }
    columns = {
        "roll_rate_dps": {"source": "P", "unit": "deg/s"},
        "pitch_rate_dps": {"source": "Q", "unit": "deg/s"},
        "yaw_rate_dps": {"source": "R", "unit": "deg/s"},
        "pressure_altitude_ft": {"source": "H", "unit": "ft"},
    }
    recording = read_recording(path, {"year": 2031, "pcm": [layout], "columns": columns})
    assert len(recording.block) == 50
    assert_allclose(recording.block.to_columns()["roll_rate_dps"], 100 + np.arange(50))
    assert str(np.datetime64(int(recording.block.time_ns[0]), "ns").astype("datetime64[s]")) == "2031-04-10T12:00:01"
