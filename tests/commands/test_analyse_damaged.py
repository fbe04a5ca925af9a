"""Recordings as they come from broken disks and wrong exports: `analyse` ends with 2 and one sentence."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.places import RECORDINGS

from spinfloor.cli import main

HEADER = "time_s,roll_rate_dps,pitch_rate_dps,yaw_rate_dps,pressure_altitude_ft\n"


def whole() -> bytes:
    return (RECORDINGS / "r02-left-right-pair.parquet").read_bytes()


def rows(form: Callable[[int], str], count: int = 400) -> bytes:
    return (HEADER + "".join(form(i) + "\n" for i in range(count))).encode()


def flipped(place: int) -> bytes:
    data = bytearray(whole())
    data[place] ^= 0xFF
    return bytes(data)


REFUSED: dict[str, Callable[[], bytes]] = {
    "half.parquet": lambda: whole()[: len(whole()) // 2],
    "footer.parquet": lambda: whole()[:-4],
    "length.parquet": lambda: flipped(-6),
    "random.parquet": lambda: random.Random(1).randbytes(50_000_000),
    "random.csv": lambda: random.Random(2).randbytes(1_000_000),
    "zeros.bin": lambda: bytes(1_000_000),
    "wide.csv": lambda: (
        ",".join(f"c{i}" for i in range(20_000)) + "\n" + ",".join("1" for _ in range(20_000))
    ).encode(),
    "words.csv": lambda: rows(lambda i: "one,two,three,four,five"),
    "utf16.csv": lambda: rows(lambda i: f"{i},1,2,3,4").decode().encode("utf-16"),
    "one-line.csv": lambda: b"a" * 3_000_000,
    "page.html": lambda: b"<html><body>404 not found</body></html>",
    "archive.zip": lambda: b"PK\x03\x04" + bytes(200),
}


def analysed(path: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> tuple[int, bytes, str]:
    with pytest.raises(SystemExit) as ended:
        main(["analyse", str(path)])
    out, err = capfdbinary.readouterr()
    return int(ended.value.code or 0), out, err.decode()


@pytest.mark.parametrize("name", REFUSED)
def test_a_damaged_recording_ends_with_2_and_one_sentence(
    tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes], name: str
) -> None:
    (tmp_path / name).write_bytes(REFUSED[name]())
    code, out, said = analysed(tmp_path / name, capfdbinary)
    assert (code, out) == (2, b""), said
    errors = [line for line in said.splitlines() if not line.startswith("spinfloor: no plan given")]
    assert len(errors) == 1, said
    assert errors[0].startswith("spinfloor: Expected")
    assert errors[0].endswith(".")
    assert len(errors[0]) < 2_000
