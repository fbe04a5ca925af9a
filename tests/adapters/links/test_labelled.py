"""Labelled lines to frames: the lines below are what an open flight-dynamics library really sent over its socket."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from spinfloor.adapters.links import LabelledValues
from spinfloor.adapters.links.labelled import LinkMapError
from spinfloor.core.channels import ALPHA, PRESSURE_ALTITUDE, ROLL_RATE
from spinfloor.core.frames import FrameBlock
from spinfloor.core.plan.channel_map import ChannelMap

LABELS = b"<LABELS> ,Time,P,Q,R,PDot,QDot,RDot,h-sl-ft,Pressure,p-rad sec\n"
LINES = (
    b"           0,           0,           0,           0,-5.546122e-08,9.610445e-08,1.747155e-09,8000,1572.079,0\n",
    b"        0.05,  4.2906e-06,-0.003402617,-5.442458e-06,0.0003354452,  -0.2665711,-0.00042769,7999.96,1572.081,0\n",
    b"         0.1,        57.3, -0.03115973,-5.010855e-05, 0.001324513,    -1.06123,-0.001711665,7999.8,1572.088,0\n",
)
MAP: dict[str, Any] = {
    "time": {"source": "Time", "unit": "s"},
    "columns": {
        "roll_rate_dps": {"source": "P", "unit": "deg/s"},
        "pitch_rate_dps": {"source": "Q", "unit": "deg/s"},
        "yaw_rate_dps": {"source": "R", "unit": "deg/s"},
        "pressure_altitude_ft": {"source": "Pressure", "unit": "psf"},
    },
}
AT = 1_900_000_000_000_000_000


def _link(mapping: dict[str, object] | None = None, labels: str | None = None) -> LabelledValues:
    return LabelledValues(ChannelMap.model_validate(mapping or MAP), labels)


def _joined(blocks: list[FrameBlock]) -> FrameBlock:
    return FrameBlock(np.concatenate([b.time_ns for b in blocks]), np.concatenate([b.values for b in blocks]))


def test_lines_become_frames() -> None:
    """1,572.08 psf is about 8,000 ft in the standard atmosphere: the library's own height is 8,000 ft."""
    link = _link()
    block = _joined([b for line in (LABELS, *LINES) for b in link.take(line, AT, whole=True)])
    assert block.time_ns.tolist() == [AT, AT + 50_000_000, AT + 100_000_000]
    assert block.values[2, ROLL_RATE] == pytest.approx(np.deg2rad(57.3))
    assert_allclose(block.values[:, PRESSURE_ALTITUDE] / 0.3048, 8000, atol=5)
    assert link.counts.frames == 3


def test_an_absurd_time_costs_its_line_and_not_the_link() -> None:
    link = _link()
    absurd = [line.replace(b"0.05", time, 1) for line in LINES[1:2] for time in (b"2e35", b"-2e35", b"1e308", b"-7e9")]
    block = _joined([b for line in (LABELS, *absurd[:3], *LINES, *absurd) for b in link.take(line, AT, whole=True)])
    assert block.time_ns.tolist() == [AT, AT + 50_000_000, AT + 100_000_000]
    assert link.counts.damaged == {"a line whose time is outside the years 1970 to 2200": 7}


@settings(max_examples=80, deadline=None)
@given(st.lists(st.integers(0, 400), max_size=10))
def test_any_cut(cuts: list[int]) -> None:
    stream = LABELS + b"".join(LINES)
    edges = sorted({0, len(stream), *(min(c, len(stream)) for c in cuts)})
    link = _link()
    blocks = [b for a, z in itertools.pairwise(edges) for b in link.take(stream[a:z], AT)]
    assert len(blocks) == 3


@settings(max_examples=200, deadline=None)
@given(st.lists(st.binary(max_size=120), max_size=6))
def test_random_bytes_are_counted_and_change_nothing(parts: list[bytes]) -> None:
    link = _link()
    link.take(LABELS, AT, whole=True)
    for part in parts:
        link.take(part, AT, whole=True)
    link.take(b"\n", AT)
    before = link.counts.frames
    assert len(link.take(LABELS + LINES[1], AT, whole=True)) == 1
    assert link.counts.frames == before + 1


def test_lines_before_the_labels_are_counted_and_given_labels_used() -> None:
    link = _link()
    assert link.take(LINES[0], AT, whole=True) == []
    assert link.counts.waiting == 1
    told = _link(labels="Time,P,Q,R,PDot,QDot,RDot,h-sl-ft,Pressure,p-rad sec")
    assert len(told.take(LINES[0], AT, whole=True)) == 1


def test_labels_that_do_not_fit_the_map() -> None:
    with pytest.raises(LinkMapError, match="no P, Pressure, Q, R among Time, X"):
        _link(labels="Time,X")
    link = _link()
    link.take(b"Time,X\n", AT)
    assert "no P, Pressure, Q, R among Time, X" in " ".join(link.counts.damaged)


def test_a_label_as_written_goes_before_one_in_other_capitals() -> None:
    link = _link()
    link.take(b"Time,p,P,Q,R,Pressure\n", AT, whole=True)
    (block,) = link.take(b"0,7,57.3,0,0,1572.08\n", AT, whole=True)
    assert block.values[0, ROLL_RATE] == pytest.approx(np.deg2rad(57.3))


def test_units_in_brackets_and_missing_units() -> None:
    columns = {name: {"source": m["source"]} for name, m in MAP["columns"].items()}
    mapping: dict[str, object] = {"time": {"source": "Time"}, "columns": columns}
    link = _link(mapping, "Time [s],P (rad/s),Q (rad/s),R (rad/s),Pressure [ft]")
    (block,) = link.take(b"1,2,3,4,1000\n", AT)
    assert block.values[0, :4].tolist() == [2.0, 3.0, 4.0, 304.8]
    with pytest.raises(Exception, match="a unit is never guessed"):
        _link(mapping, "Time [s],P,Q (rad/s),R (rad/s),Pressure [ft]")


def test_dated_time_is_taken_as_it_is_and_wrong_widths_are_damage() -> None:
    link = _link(labels="Time,P,Q,R,Pressure")
    (block,) = link.take(b"1900000000.5,1,2,3,1500\n", 5)
    assert block.time_ns[0] == pytest.approx(1_900_000_000_500_000_000, abs=300)
    assert link.take(b"1900000001,1,2\n", 5) == []
    assert link.take(b"nan,1,2,3,1500\n", 5) == []
    assert sum(link.counts.damaged.values()) == 2


def test_slow_channels_are_held_to_their_limit() -> None:
    columns = {**MAP["columns"], "alpha_deg": {"source": "A", "unit": "deg", "hold_s": 0.1}}
    link = _link({"time": {"source": "Time", "unit": "s"}, "columns": columns}, "Time,P,Q,R,Pressure,A")
    lines = [f"{k * 0.05:.2f},1,2,3,1500,{10 if k == 0 else ''}\n".encode() for k in range(5)]
    block = _joined([b for line in lines for b in link.take(line, AT)])
    assert np.isnan(block.values[:, ALPHA]).tolist() == [False, False, False, True, True]


def test_columns_with_different_delays_meet_at_the_same_time() -> None:
    columns = {name: {**m, "delay_s": 0.1} for name, m in MAP["columns"].items()}
    columns["alpha_deg"] = {"source": "A", "unit": "deg"}
    link = _link({"time": {"source": "Time", "unit": "s"}, "columns": columns}, "Time,P,Q,R,Pressure,A")
    block = _joined([b for k in range(6) for b in link.take(f"{k * 0.05:.2f},{k},2,3,1500,{k}\n".encode(), AT)])
    # the rates seen in line k happened two lines earlier, when alpha was k - 2
    assert_allclose(np.rad2deg(block.values[2:, ALPHA]), [0, 1, 2, 3])
    assert block.time_ns[2] == AT
