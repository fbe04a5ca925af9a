"""PCM in every packing, analog and bus channels, read through a channel map; written by builder.py."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from numpy.testing import assert_allclose
from tests.adapters.recordings.chapter10 import builder

from spinfloor.adapters.recordings import Recording, RecordingError, read_recording

SECOND = 10_000_000
RATES = {"roll_rate_dps": "P", "pitch_rate_dps": "Q", "yaw_rate_dps": "R"}
COLUMNS: dict[str, object] = {
    **{c: {"source": s, "unit": "deg/s"} for c, s in RATES.items()},
    "pressure_altitude_ft": {"source": "H", "unit": "ft", "hold_s": 0.5},
}
# Words after the sync pattern: counter, P, Q, R, H. 32 + 5 * 16 = 112 bits, 100 frames a second.
LAYOUT: dict[str, object] = {
    "channel": 3,
    "words_per_minor_frame": 5,
    "minor_frames_per_major": 4,
    "counter_word": 1,
    "bits_per_second": 11_200,
    "parameters": [
        {"name": "P", "words": [2], "coding": "twos complement", "scale": 0.01},
        {"name": "Q", "words": [3], "coding": "offset binary", "scale": 0.01},
        {"name": "R", "words": [4], "coding": "sign magnitude", "scale": 0.01},
        {"name": "H", "words": [5], "minor_frames": [1]},
    ],
}
N = 200


def _frames() -> list[bytes]:
    out = []
    for k in range(N):
        height = 10_000 - k if k % 4 == 0 else 7
        out.append(builder.minor_frame(k % 4, -8485, 0x8000 + 250, 0x8000 | 8485, height))
    return out


def _read(tmp_path: Path, data: bytes, **more: object) -> Recording:
    path = tmp_path / "flight.ch10"
    path.write_bytes(data)
    return read_recording(path, {"year": 2031, "columns": COLUMNS, "pcm": [LAYOUT], **more})


def _check(recording: Recording, frames: int = N) -> dict[str, npt.NDArray[np.int64] | npt.NDArray[np.float64]]:
    columns = recording.block.to_columns()
    assert len(recording.block) == frames
    assert_allclose(columns["roll_rate_dps"], -84.85, rtol=1e-12)
    assert_allclose(columns["pitch_rate_dps"], 2.5, rtol=1e-12)
    assert_allclose(columns["yaw_rate_dps"], -84.85, rtol=1e-12)
    return columns


@pytest.mark.parametrize("swap", [1, 2, 4])
@pytest.mark.parametrize("bit_offset", [0, 3, 13])
def test_throughput_across_packets_at_any_bit_offset(tmp_path: Path, swap: int, bit_offset: int) -> None:
    sent = np.unpackbits(np.frombuffer(b"".join(_frames()), np.uint8))
    lead = np.resize([1, 0, 1, 1, 0], bit_offset).astype(np.uint8)
    stream = np.packbits(np.concatenate([lead, sent])).tobytes()
    stream += bytes(-len(stream) % 40)
    data = builder.day_time(0, 100, 12, 0, 0)
    for k, at in enumerate(range(0, len(stream), 40)):
        rtc = SECOND + round(at * 8 / 11_200 * SECOND)
        data += builder.pcm(3, rtc, stream[at : at + 40], sequence=k, flags=3, swap=swap)
    recording = _read(tmp_path, data)
    columns = _check(recording)
    steps = np.diff(recording.block.time_ns)
    assert_allclose(steps, 10_000_000, atol=300)  # counter ticks are 100 ns
    first = np.datetime64(int(recording.block.time_ns[0]), "ns") - np.datetime64("2031-04-10T12:00:01")
    assert first / np.timedelta64(1, "s") == pytest.approx(bit_offset / 11_200, abs=1e-6)
    assert_allclose(columns["pressure_altitude_ft"][::4], 10_000 - np.arange(0, N, 4))
    assert_allclose(columns["pressure_altitude_ft"][3::4], 10_000 - np.arange(0, N, 4))


def test_a_lost_packet_costs_the_frames_it_touched(tmp_path: Path) -> None:
    stream = b"".join(_frames())
    data = builder.day_time(0, 100, 12, 0, 0)
    for k, at in enumerate(range(0, len(stream), 280)):
        if k != 4:
            data += builder.pcm(3, SECOND + round(at * 8 / 11_200 * SECOND), stream[at : at + 280], sequence=k)
    recording = _read(tmp_path, data)
    _check(recording, N - 20)  # 280 bytes are twenty frames of 14 bytes
    assert "packets of channel 3 are missing" in " ".join(n.sentence for n in recording.notes)
    assert np.diff(recording.block.time_ns).max() == pytest.approx(210_000_000, abs=300)


@pytest.mark.parametrize("wide", [False, True], ids=["16-bit", "32-bit"])
def test_packed_with_intra_packet_headers(tmp_path: Path, wide: bool) -> None:
    data = builder.day_time(0, 100, 12, 0, 0)
    unit = 4 if wide else 2
    for k, start in enumerate(range(0, N, 20)):
        body = struct.pack("<I", 1 << 19 | 1 << 30 | (1 << 21 if wide else 0))
        for i in range(start, start + 20):
            stamp = SECOND + i * SECOND // 100
            sent = _frames()[i]
            body += stamp.to_bytes(6, "little") + b"\0\0" + b"\0\xf0" + (b"\0\0" if wide else b"")
            body += builder.stored(sent + bytes(-len(sent) % unit), unit)
        data += builder.packet(3, 0x09, SECOND + start * SECOND // 100, body, sequence=k)
    recording = _read(tmp_path, data)
    _check(recording)
    assert set(np.diff(recording.block.time_ns).tolist()) == {10_000_000}


def test_a_frame_that_lost_its_sync_is_left_out(tmp_path: Path) -> None:
    frames = _frames()
    frames[50] = b"\0\0\0\0" + frames[50][4:]
    body = struct.pack("<I", 1 << 19 | 1 << 30)
    for i, sent in enumerate(frames):
        body += (SECOND + i * SECOND // 100).to_bytes(6, "little") + b"\0\0\0\xf0" + builder.stored(sent, 2)
    recording = _read(tmp_path, builder.day_time(0, 100, 12, 0, 0) + builder.packet(3, 0x09, SECOND, body))
    _check(recording, N - 1)
    assert "without their sync pattern" in " ".join(n.sentence for n in recording.notes)


def test_supercommutation_and_joined_words(tmp_path: Path) -> None:
    frame = builder.minor_frame(0x4248, 0xF5C3, 11, 5, 12, 5)  # 0x4248F5C3 is 50.24 as an IEEE 754 single
    layout = {
        "channel": 3,
        "words_per_minor_frame": 6,
        "bits_per_second": 12_800,
        "parameters": [
            {"name": "P", "words": [1, 2], "coding": "ieee float"},
            {"name": "Q", "words": [4]},
            {"name": "R", "words": [3], "every": 2},
            {"name": "H", "words": [4], "first_bit": 14, "bits": 3},
        ],
    }
    data = builder.day_time(0, 100, 12, 0, 0) + builder.pcm(3, SECOND, frame * 10)
    recording = _read(tmp_path, data, pcm=[layout])
    columns = recording.block.to_columns()
    assert_allclose(columns["roll_rate_dps"], 50.24, rtol=1e-7)
    assert_allclose(columns["yaw_rate_dps"], [11.0, 12.0] * 10)
    assert_allclose(columns["pressure_altitude_ft"], 5.0)
    assert_allclose(np.diff(recording.block.time_ns)[::2], 32 / 12_800 * 1e9, atol=200)


def test_set_up_record_gives_the_layout(tmp_path: Path) -> None:
    tmats = "\n".join(
        [
            "G\\PN:invented aircraft;R-1\\TK1-1:3;R-1\\CDT-1:PCMIN;R-1\\CDLN-1:LINK;",
            "P-1\\DLN:LINK;P-1\\D2:11200;P-1\\F1:16;P-1\\F2:M;P-1\\MF\\N:4;P-1\\MF1:6;P-1\\MF2:112;P-1\\MF4:32;",
            "P-1\\MF5:11111110011010110010100001000000;P-1\\IDC1-1:1;P-1\\IDC3-1:15;P-1\\IDC4-1:2;P-1\\IDC6-1:0;",
            "D-1\\DLN:LINK;D-1\\MN-1-1:P;D-1\\LT-1-1:WDFR;D-1\\WP-1-1-1-1:2;D-1\\WI-1-1-1-1:0;",
            "D-1\\MN-1-2:Q;D-1\\WP-1-2-1-1:3;D-1\\MN-1-3:R;D-1\\WP-1-3-1-1:4;",
            "D-1\\MN-1-4:H;D-1\\WP-1-4-1-1:5;D-1\\FP-1-4-1-1:1;D-1\\FI-1-4-1-1:4;",
            "D-1\\MN-1-5:X;D-1\\MNF\\N-1-5-1:2;D-1\\WP-1-5-1-1:2;D-1\\WP-1-5-1-2:3;",
            "D-1\\MN-1-6:Y;D-1\\MNF\\N-1-6-1:3000000;D-1\\WP-1-6-1-1:2;D-1\\MN-1-7:Z;D-1\\WP-1-7-1-1:2;",
            "C-1\\DCN:P;C-1\\MN3:deg/s;C-1\\BFM:TWO;C-1\\DCT:COE;C-1\\CO\\N:1;C-1\\CO:0;C-1\\CO-1:0.01;",
            "C-2\\DCN:Q;C-2\\MN3:deg/s;C-2\\BFM:OFF;C-2\\DCT:PRS;C-2\\PS\\N:2;",
            "C-2\\PS1-1:0;C-2\\PS2-1:0;C-2\\PS1-2:100;C-2\\PS2-2:1;",
            "C-3\\DCN:R;C-3\\MN3:deg/s;C-3\\BFM:SIG;C-3\\DCT:COE;C-3\\CO\\N:1;C-3\\CO:0;C-3\\CO-1:0.01;",
            "C-5\\DCN:Z;C-5\\DCT:PRS;C-5\\PS\\N:2;C-5\\PS1-1:0;C-5\\PS2-1:0;",
            "C-4\\DCN:H;C-4\\MN3:ft;C-4\\BFM:UNS;C-4\\DCT:COE;C-4\\CO\\N:1;C-4\\CO:0;C-4\\CO-1:1;",
        ]
    ).encode()
    setup = struct.pack("<I", 7) + tmats
    data = builder.packet(0, 0x01, 0, setup[:500]) + builder.packet(0, 0x01, 0, setup[:4] + setup[500:], sequence=1)
    data += builder.day_time(0, 100, 12, 0, 0) + builder.pcm(3, SECOND, b"".join(_frames()))
    columns = {c: {"source": s} for c, s in RATES.items()} | {"pressure_altitude_ft": {"source": "H", "hold_s": 0.5}}
    recording = _read(tmp_path, data, pcm=[], columns=columns)
    _check(recording)
    told = " ".join(n.sentence for n in recording.notes)
    assert "X cannot be read: the order of its word fragments is not stated" in told
    assert "Y cannot be read: it has 3000000 word fragments, where 1 to 4 are read" in told
    assert "conversion of Z is not a straight line; raw counts were read" in told


def test_without_a_map_and_with_nothing_that_can_be_read_it_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "flight.ch10"
    path.write_bytes(builder.day_time(0, 100, 12, 0, 0) + builder.pcm(3, SECOND, b"".join(_frames())))
    with pytest.raises(RecordingError, match=r"Expected a channel map in the plan.*it has: no columns"):
        read_recording(path)


def test_without_any_layout_it_says_so(tmp_path: Path) -> None:
    data = builder.day_time(0, 100, 12, 0, 0) + builder.pcm(3, SECOND, b"".join(_frames()))
    with pytest.raises(Exception, match="without it") as caught:
        _read(tmp_path, data, pcm=[])
    assert "a channel 'P'" in str(caught.value)


@pytest.mark.parametrize("mode", [0, 1, 3], ids=["packed", "padded below", "padded above"])
def test_analog(tmp_path: Path, mode: int) -> None:
    """Four 12-bit sub-channels, the last sampled half as often (rate factor 1)."""
    words = [mode | 12 << 2 | k << 8 | 4 << 16 | (1 << 24 if k == 3 else 0) for k in range(4)]
    samples = []
    for n in range(50):
        samples += [-100, 200, -300] + ([1000 + n // 2] if n % 2 == 0 else [])
    if mode == 0:
        bits = "".join(f"{s & 0xFFF:012b}" for s in samples)
        bits += "0" * (-len(bits) % 16)
        sent = int(bits, 2).to_bytes(len(bits) // 8, "big")
    else:
        sent = struct.pack(f">{len(samples)}H", *((s & 0xFFF) << (4 if mode == 1 else 0) for s in samples))
    body = struct.pack("<4I", *words) + builder.stored(sent, 2)
    inputs = [
        {"channel": 9, "subchannel": k, "name": name, "unit": unit, "scale": 0.1, "samples_per_second": rate}
        for k, (name, unit, rate) in enumerate(
            [("P", "deg/s", 50), ("Q", "deg/s", 50), ("R", "deg/s", 50), ("H", "ft", 25)]
        )
    ]
    data = builder.day_time(0, 100, 12, 0, 0) + builder.packet(9, 0x21, SECOND, body)
    columns = {c: {"source": s} for c, s in RATES.items()} | {"pressure_altitude_ft": {"source": "H"}}
    recording = _read(tmp_path, data, pcm=[], analog=inputs, columns=columns)
    out = recording.block.to_columns()
    assert len(recording.block) == 50
    assert_allclose(out["roll_rate_dps"], -10.0)
    assert_allclose(out["yaw_rate_dps"], -30.0)
    assert_allclose(out["pressure_altitude_ft"], np.repeat(100.0 + np.arange(25) / 10, 2))
    assert set(np.diff(recording.block.time_ns).tolist()) == {20_000_000}


def _bus_message(rtc: int, words: list[int], status: int = 0) -> bytes:
    raw = struct.pack(f"<{len(words)}H", *(w & 0xFFFF for w in words))
    return rtc.to_bytes(8, "little") + struct.pack("<HHH", status, 0, len(raw)) + raw


def test_bus_messages(tmp_path: Path) -> None:
    """Terminal 5 sends rates from subaddress 3, terminal 6 receives height at subaddress 2; one message is in error."""
    messages = []
    for k in range(10):
        stamp = SECOND + k * SECOND // 50
        messages.append(_bus_message(stamp, [5 << 11 | 1 << 10 | 3 << 5 | 3, 5 << 11, -8485, 250, 8485]))
        messages.append(_bus_message(stamp, [6 << 11 | 2 << 5 | 2, 0x0000, 10_000 - k, 6 << 11]))
    messages.append(_bus_message(SECOND, [5 << 11 | 1 << 10 | 3 << 5 | 3, 5 << 11, 1, 1, 1], status=1 << 12))
    messages.append(_bus_message(SECOND, [5 << 11 | 1 << 10 | 31 << 5 | 2, 5 << 11]))
    body = struct.pack("<I", len(messages) | 1 << 30) + b"".join(messages)
    rate = {"coding": "twos complement", "scale": 0.01, "unit": "deg/s"}
    bus = [
        {
            "channel": 4,
            "remote_terminal": 5,
            "subaddress": 3,
            "parameters": [{"name": n, "words": [k + 1], **rate} for k, n in enumerate("PQR")],
        },
        {
            "channel": 4,
            "remote_terminal": 6,
            "subaddress": 2,
            "transmit": False,
            "parameters": [{"name": "H", "words": [1, 2], "unit": "ft"}],
        },
    ]
    data = builder.day_time(0, 100, 12, 0, 0) + builder.packet(4, 0x19, SECOND, body, flags=2)
    columns = {c: {"source": s} for c, s in RATES.items()} | {"pressure_altitude_ft": {"source": "H"}}
    recording = _read(tmp_path, data, pcm=[], bus=bus, columns=columns)
    out = recording.block.to_columns()
    assert len(recording.block) == 10
    assert_allclose(out["roll_rate_dps"], -84.85)
    assert_allclose(out["yaw_rate_dps"], 84.85)
    assert_allclose(out["pressure_altitude_ft"], 10_000 - np.arange(10))
    assert "bus message(s) with errors" in " ".join(n.sentence for n in recording.notes)
